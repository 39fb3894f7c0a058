"""Colours worked out from lightness and contrast, so that every series also differs in grey."""

from __future__ import annotations

import math
from dataclasses import dataclass

COUNT = 8
ORDER = (0, 5, 2, 7, 3, 6, 1, 4)  # lightness steps in the order of use: neighbours lie far apart
FIRST_HUE, HUE_STEP = 255.0, 137.508  # degrees; the golden angle keeps any few hues apart


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


def _series(darkest: float, lightest: float, chroma: float) -> tuple[str, ...]:
    """Spread `COUNT` colours over evenly stepped greys (CIE L*), each as colourful as the screen allows."""
    greys = [darkest + (lightest - darkest) * step / (COUNT - 1) for step in ORDER]
    return tuple(_as_bright_as(grey, chroma, FIRST_HUE + HUE_STEP * i) for i, grey in enumerate(greys))


def _as_bright_as(grey: float, chroma: float, hue_deg: float) -> str:
    """Return the colour of a hue and chroma whose grey is `grey` (CIE L*, 0 to 100), found by halving."""
    low, high = 0.0, 1.0
    for _ in range(20):
        middle = (low + high) / 2
        low, high = (middle, high) if greyness(_colour(middle, chroma, hue_deg)) < grey else (low, middle)
    return _colour((low + high) / 2, chroma, hue_deg)


def _colour(lightness: float, chroma: float, hue_deg: float) -> str:
    """Return the sRGB colour of an Oklch one, its chroma lowered until the colour exists."""
    while chroma > 0:
        channels = _linear_rgb(lightness, chroma, math.radians(hue_deg))
        if all(-1e-6 <= channel <= 1 + 1e-6 for channel in channels):
            break
        chroma = max(0.0, chroma - 0.004)
    else:
        channels = _linear_rgb(lightness, 0.0, 0.0)
    return "#" + "".join(f"{round(255 * _encoded(min(1.0, max(0.0, c)))):02x}" for c in channels)


def _linear_rgb(lightness: float, chroma: float, hue_rad: float) -> tuple[float, float, float]:
    """Oklab to linear sRGB (B. Ottosson, 2020)."""
    a, b = chroma * math.cos(hue_rad), chroma * math.sin(hue_rad)
    long = (lightness + 0.3963377774 * a + 0.2158037573 * b) ** 3
    medium = (lightness - 0.1055613458 * a - 0.0638541728 * b) ** 3
    short = (lightness - 0.0894841775 * a - 1.2914855480 * b) ** 3
    return (
        4.0767416621 * long - 3.3077115913 * medium + 0.2309699292 * short,
        -1.2684380046 * long + 2.6097574011 * medium - 0.3413193965 * short,
        -0.0041960863 * long - 0.7034186147 * medium + 1.7076147010 * short,
    )


def _encoded(linear: float) -> float:
    return 12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055


def luminance(colour: str) -> float:
    """Return the relative luminance of an "#rrggbb" colour, 0 (black) to 1 (white)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def greyness(colour: str) -> float:
    """Return how light a colour is in grey: CIE L*, 0 (black) to 100 (white)."""
    level = luminance(colour)
    return 116 * level ** (1 / 3) - 16 if level > 0.008856 else 903.3 * level


def contrast(first: str, second: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21."""
    low, high = sorted((luminance(first), luminance(second)))
    return (high + 0.05) / (low + 0.05)


LIGHT = Palette(
    paper="#ffffff",
    ink=_colour(0.24, 0.02, 265.0),
    soft=_colour(0.48, 0.02, 265.0),
    grid=_colour(0.91, 0.005, 265.0),
    shade=_colour(0.95, 0.01, 265.0),
    series=_series(14.0, 60.0, 0.19),
)
DARK = Palette(
    paper=_colour(0.19, 0.015, 265.0),
    ink=_colour(0.94, 0.01, 265.0),
    soft=_colour(0.76, 0.015, 265.0),
    grid=_colour(0.32, 0.012, 265.0),
    shade=_colour(0.26, 0.015, 265.0),
    series=_series(50.0, 95.0, 0.16),
)
