"""Colours of figures and pages, light and dark; every series also differs in grey."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Palette:
    """Colours of a figure or page, as "#rrggbb".

    `paper` is the ground, `ink` text and axes, `soft` secondary text, `grid` hair lines, `shade` areas, and
    `series` the colours of curves in their order of use.
    """

    paper: str
    ink: str
    soft: str
    grid: str
    shade: str
    series: tuple[str, ...]


def luminance(colour: str) -> float:
    """Return the relative luminance of an "#rrggbb" colour, 0 (black) to 1 (white)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first: str, second: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21."""
    low, high = sorted((luminance(first), luminance(second)))
    return (high + 0.05) / (low + 0.05)


# series: hues a golden angle apart and greys stepped evenly (CIE L*), neighbours in order far apart
LIGHT = Palette(
    paper="#ffffff",
    ink="#1b1f29",
    soft="#585e69",
    grid="#e0e1e5",
    shade="#ebeef5",
    series=("#00234d", "#cd381d", "#044a38", "#b771f0", "#664c05", "#128bab", "#660133", "#2d6d05"),
)
DARK = Palette(
    paper="#10141b",
    ink="#e8ebf2",
    soft="#acb1bb",
    grid="#303339",
    shade="#20242b",
    series=("#2977d3", "#ffbdae", "#15ac88", "#f6edfe", "#d5a113", "#abe8fe", "#d85d8a", "#81cd63"),
)
