"""Figures inside a page: their SVG with ids of its own, colours that follow the page, and a spoken name."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

from charprobe.publishing.figures.look.drawing import Drawing
from charprobe.publishing.figures.look.palette import LIGHT
from charprobe.values.wording import literal

_ID = re.compile(r'(\bid="|href="#|url\(#)([^")]+)')
_STYLE = re.compile(r'style="[^"]*"')
_PLACES = re.compile(r'\s(?:d|x|y)="[^"]*"')
_DROPPED = re.compile(
    r"<\?xml.*?\?>|<!DOCTYPE.*?>|<metadata>.*?</metadata>|<!--.*?-->|<defs>\s*<style.*?</style>\s*</defs>",
    re.DOTALL,
)
COLOURS = {
    LIGHT.paper: "var(--paper)",
    LIGHT.ink: "var(--ink)",
    LIGHT.soft: "var(--soft)",
    LIGHT.grid: "var(--grid)",
    LIGHT.shade: "var(--shade)",
} | {colour: f"var(--series-{index})" for index, colour in enumerate(LIGHT.series)}


@dataclass(frozen=True)
class InPage:
    """A figure ready for a page: its name, its one-line title, its SVG."""

    name: str
    title: str
    svg: Markup


def in_page(drawings: Iterable[Drawing], prefix: str) -> tuple[InPage, ...]:
    """Make drawings ready for a page on which no other figure's ids begin with `prefix`."""
    return tuple(
        InPage(drawing.name, drawing.title, inline_svg(drawing, f"{prefix}{number}"))
        for number, drawing in enumerate(drawings, start=1)
    )


def inline_svg(drawing: Drawing, prefix: str) -> Markup:
    """Return a drawing in the light article look as SVG markup; its colours become the page's, light or dark.

    `prefix`, letters and digits that no other figure of the page has, is put before every id.
    """
    code = _DROPPED.sub("", drawing.inlined().decode("utf-8"))
    code = _ID.sub(rf"\1{prefix}-\2", code)
    code = _PLACES.sub(_rounded, code)
    code = re.sub(r'fill="(#[0-9a-f]{6})"', r'style="fill: \1"', code)  # only styles can name variables
    code = _STYLE.sub(_coloured, code)
    code = re.sub(r'\s(xmlns:xlink|width|height|version)="[^"]*"(?=[^>]*viewBox)', "", code, count=3)
    code = code.replace("xlink:href", "href").replace(' xmlns:xlink="http://www.w3.org/1999/xlink"', "")
    head = f'<svg role="img" aria-label="{escape(literal(drawing.alt))}"'
    return Markup(re.sub(r"\s*\n\s*", " ", code.replace("<svg", head, 1)).strip())


def _rounded(found: re.Match[str]) -> str:
    """Keep a tenth of a point of every place in a path: finer than a page can show."""
    return re.sub(r"\d+\.\d+", lambda m: f"{float(m.group()):.1f}".removesuffix(".0"), found.group())


def _coloured(style: re.Match[str]) -> str:
    return re.sub(r"#[0-9a-f]{6}", lambda m: COLOURS.get(m.group(), m.group()), style.group())
