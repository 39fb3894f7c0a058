"""Curves named at their ends, the names kept apart from each other."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from charprobe.publishing.figures.look.palette import contrast
from charprobe.publishing.figures.look.style import Look
from charprobe.publishing.figures.look.text import shown

READABLE = 4.5  # contrast that small words need


@dataclass(frozen=True)
class EndLabel:
    """A name for a curve, at the height (in data units) where the curve ends, in the curve's colour.

    A colour too near to the paper's for words is left to the line that leads to the name.
    """

    text: str
    height: float
    colour: str


def label_ends(axes: Axes, labels: Sequence[EndLabel], look: Look, *, width: int = 24) -> None:
    """Write names right of the axes beside the ends of their curves, moved apart where they would touch.

    Call it once limits and margins are set. Names of more than `width` characters take two lines.
    """
    if not labels:
        return
    figure = axes.get_figure(root=True)
    assert figure is not None  # axes always sit in a figure
    height_px = axes.get_window_extent().height
    names = [in_two_lines(label.text, width) for label in labels]
    lines = max(name.count("\n") + 1 for name in names)
    step = 1.25 * lines * look.frame.font_pt / 72 * figure.dpi / height_px
    to_axes = axes.transData + axes.transAxes.inverted()
    middle = axes.get_xlim()[0]
    wanted = [min(1.0, max(0.0, float(to_axes.transform((middle, label.height))[1]))) for label in labels]
    placed = apart(wanted, step)
    for label, name, natural, height in zip(labels, names, wanted, placed, strict=True):
        axes.annotate(
            name,
            xy=(1.0, natural),
            xytext=(1.04, height),
            xycoords="axes fraction",
            textcoords="axes fraction",
            va="center",
            linespacing=1.0,
            color=label.colour
            if contrast(label.colour, look.palette.paper) >= READABLE
            else look.palette.ink,
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "color": label.colour,
                "lw": look.frame.line_pt / 3,
                "relpos": (0, 0.5),
                "shrinkA": 1,
                "shrinkB": 0,
            },
        )


def in_two_lines(text: str, width: int) -> str:
    """Return the user's text in at most two lines of so many characters, the rest cut and marked by "…"."""
    return "\n".join(textwrap.wrap(shown(text), width, max_lines=2, placeholder="…"))


def apart(wanted: Sequence[float], step: float) -> list[float]:
    """Return heights at least `step` apart, in the wanted order and as near to it as one pass allows.

    Examples
    --------
    >>> [round(height, 2) for height in apart([0.5, 0.52, 0.1], 0.1)]
    [0.46, 0.56, 0.1]
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    blocks: list[list[int]] = []
    for index in order:
        blocks.append([index])
        while len(blocks) > 1 and _start(blocks[-1], wanted, step) < _end(blocks[-2], wanted, step) + step:
            last = blocks.pop()
            blocks[-1] += last
    heights = [0.0] * len(wanted)
    for block in blocks:
        for place, index in enumerate(block):
            heights[index] = _start(block, wanted, step) + place * step
    return heights


def _start(block: Sequence[int], wanted: Sequence[float], step: float) -> float:
    """Lowest height of a block of touching names, centred on what its members want, kept inside 0 to 1."""
    centre = sum(wanted[index] for index in block) / len(block)
    reach = step * (len(block) - 1)
    return max(0.0, min(1.0 - reach, centre - reach / 2))


def _end(block: Sequence[int], wanted: Sequence[float], step: float) -> float:
    return _start(block, wanted, step) + step * (len(block) - 1)
