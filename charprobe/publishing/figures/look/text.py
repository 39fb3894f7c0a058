"""The user's own text in figures: shown literally, on few lines, in glyphs the font has."""

from __future__ import annotations

import textwrap
from functools import cache
from typing import Any

from matplotlib import font_manager
from matplotlib.figure import Figure
from matplotlib.ft2font import FT2Font

from charprobe.publishing.figures.look.fonts import families
from charprobe.publishing.figures.look.style import Frame
from charprobe.values.wording import literal

ABSENT = "▯"
EM_PER_CHARACTER = 0.55  # mean width of text in the font, in its size
HEAD_EM = 5.9  # from the top of a figure to its panels: title, subtitle, name of a panel
KEY_EM, KEY_LINE_EM, MOST_KEY_EM = 4.0, 1.5, 6.0  # a key's line style, its line height, and what it may take


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


def put_key_above(figure: Figure, frame: Frame) -> None:
    """Gather the legends of all panels in rows between heading and panels, each name once."""
    entries: dict[tuple[str, int], Any] = {}  # two settings may have one name once it is cut
    for axes in figure.axes:
        legend = axes.get_legend()
        if legend is not None:
            names = [text.get_text() for text in legend.get_texts()]
            keys = [(name, names[:index].count(name)) for index, name in enumerate(names)]
            entries |= dict(zip(keys, legend.legend_handles, strict=True))
            legend.remove()
    if not entries:
        return
    words = [name for name, _ in entries]
    lines = max(name.count("\n") for name in words) + 1
    longest = max(len(line) for name in words for line in name.split("\n"))
    room_em = frame.width_in * 72 / frame.font_pt - 3.0
    columns = max(1, min(len(entries), int(room_em / (KEY_EM + 0.92 * EM_PER_CHARACTER * longest))))
    rows = -(-len(entries) // columns)
    rows_em = KEY_LINE_EM * lines * rows
    if rows_em > MOST_KEY_EM and frame.grows:
        figure.set_figheight(frame.height_in + (rows_em - MOST_KEY_EM) * frame.font_pt / 72)
    em_x, em_y = (frame.font_pt / 72 / size for size in figure.get_size_inches())
    figure.subplots_adjust(top=1 - (HEAD_EM + rows_em) * em_y)
    places = (row * columns + column for column in range(columns) for row in range(rows))
    order = [place for place in places if place < len(entries)]  # matplotlib fills columns, people read rows
    handles = list(entries.values())
    figure.legend(
        [handles[i] for i in order], [words[i] for i in order], loc="upper left", ncols=columns,
        borderaxespad=0, borderpad=0, bbox_to_anchor=(1.5 * em_x, 1 - (HEAD_EM - 1.7) * em_y),
    )  # fmt: skip


def put_title_and_footer(figure: Figure, frame: Frame, *, title: str, subtitle: str, footer: str) -> None:
    """Write title, subtitle and the conditions at the foot, all literally."""
    size = frame.font_pt
    em_x, em_y = (size / 72 / length for length in figure.get_size_inches())
    heading = wrapped(title, frame, size=size * 1.25, lines=1)
    figure.text(1.5 * em_x, 1 - 0.9 * em_y, heading, size=size * 1.25, weight="bold", va="top")
    figure.text(1.5 * em_x, 1 - 2.6 * em_y, wrapped(subtitle, frame, size=size, lines=1), va="top")
    small = size * 0.8
    foot = wrapped(footer, frame, size=small, lines=3)
    if foot.count("\n") > 1:  # the panels make room for the third line
        figure.subplots_adjust(bottom=figure.subplotpars.bottom + 1.35 * small / size * em_y)
    figure.text(1.5 * em_x, 0.9 * em_y, foot, size=small, va="bottom", linespacing=1.35, gid="footer")
