"""The user's own text in figures: shown literally, on few lines, in glyphs the font has."""

from __future__ import annotations

import textwrap
from functools import cache

from matplotlib import font_manager
from matplotlib.figure import Figure
from matplotlib.ft2font import FT2Font

from charprobe.publishing.figures.look.fonts import families
from charprobe.publishing.figures.look.style import Frame
from charprobe.values.wording import literal

ABSENT = "▯"
EM_PER_CHARACTER = 0.55  # mean width of text in the font, in its size


@cache
def _glyphs() -> frozenset[int]:
    found = (FT2Font(font_manager.findfont(name)).get_charmap() for name in families())
    return frozenset().union(*found)


def shown(text: str) -> str:
    """Return a text for one line of a figure; a character that the font lacks becomes "▯"."""
    return "".join(c if ord(c) in _glyphs() else ABSENT for c in literal(text))


def lacks_glyphs(text: str) -> bool:
    """Tell whether some characters of a text cannot be drawn."""
    return any(ord(c) not in _glyphs() for c in literal(text))


def wrapped(text: str, frame: Frame, *, size: float, lines: int) -> str:
    """Break a text into at most so many lines that fit the frame; the cut is marked by "…"."""
    width = int((frame.width_in * 72 - 3 * frame.font_pt) / (size * EM_PER_CHARACTER))
    return "\n".join(textwrap.wrap(shown(text), width, max_lines=lines, placeholder=" …"))


def put_title_and_footer(figure: Figure, frame: Frame, *, title: str, subtitle: str, footer: str) -> None:
    """Write title, subtitle and the conditions at the foot, all literally."""
    size = frame.font_pt
    em_x, em_y = size / 72 / frame.width_in, size / 72 / frame.height_in
    heading = wrapped(title, frame, size=size * 1.25, lines=1)
    figure.text(1.5 * em_x, 1 - 0.9 * em_y, heading, size=size * 1.25, weight="bold", va="top")
    figure.text(1.5 * em_x, 1 - 2.6 * em_y, wrapped(subtitle, frame, size=size, lines=1), va="top")
    small = size * 0.8
    foot = wrapped(footer, frame, size=small, lines=3)
    figure.text(1.5 * em_x, 0.9 * em_y, foot, size=small, va="bottom", linespacing=1.35, gid="footer")
