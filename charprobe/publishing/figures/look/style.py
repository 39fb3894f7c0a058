"""Sizes, themes, line styles and markers of figures, without touching any global state of matplotlib."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.transforms import ScaledTranslation

from charprobe.publishing.figures.look.fonts import families
from charprobe.publishing.figures.look.palette import DARK, LIGHT, Palette

Dash = str | tuple[int, tuple[float, ...]]
DASHES: tuple[Dash, ...] = (
    "solid",
    (0, (6, 2)),
    (0, (1.5, 1.5)),
    (0, (7, 2, 1.5, 2)),
    (0, (3, 1.5)),
    (0, (7, 2, 1.5, 2, 1.5, 2)),
    (0, (10, 3)),
    (0, (4, 2, 4, 2, 1.5, 2)),
)
NAME_BELOW_IN, TICK_EM = 11 / 72, 1.1135  # of a horizontal axis: its name below its numbers, and their height
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "h")


@dataclass(frozen=True)
class Frame:
    """Where a figure will be seen: size in inches, dots per inch of the PNG, size of text in points."""

    name: str
    width_in: float
    height_in: float
    dpi: int
    font_pt: float

    @property
    def grows(self) -> bool:
        """Whether a figure may become higher; a picture of a video may not."""
        return self.name != "video"

    @property
    def line_pt(self) -> float:
        """Width of curves in points."""
        return self.font_pt * 0.16

    @property
    def marker_pt(self) -> float:
        """Size of markers in points."""
        return self.font_pt * 0.62


ARTICLE = Frame("article", 7.2, 4.6, 200, 8.5)
WIDE = Frame("article", 11.0, 5.0, 200, 8.5)  # several settings side by side, the whole width of a page
VIDEO = Frame("video", 16.0, 9.0, 120, 20.0)  # 1920 x 1080


@dataclass(frozen=True)
class Look:
    """A frame in a palette."""

    frame: Frame
    palette: Palette

    def wide(self) -> Look:
        """The look for a figure that takes the whole width of a page; on a screen every figure does."""
        return replace(self, frame=WIDE) if self.frame == ARTICLE else self

    def order(self, order: int) -> dict[str, Any]:
        """Return the style of a harmonic, the same in every figure; 1 stands for all of them together."""
        return self.series(order - 1)

    def series(self, index: int) -> dict[str, Any]:
        """Return colour, line style and marker of the curve with that number; they repeat after 8 and 64."""
        return {
            "color": self.palette.series[index % len(self.palette.series)],
            "linestyle": DASHES[(index + index // len(DASHES)) % len(DASHES)],
            "marker": MARKERS[(index + index // len(MARKERS)) % len(MARKERS)],
            "linewidth": self.frame.line_pt,
            "markersize": self.frame.marker_pt,
        }


ARTICLE_LOOK = Look(ARTICLE, LIGHT)
LOOKS = {
    "article": ARTICLE_LOOK,
    "article-dark": Look(ARTICLE, DARK),
    "video": Look(VIDEO, LIGHT),
    "video-dark": Look(VIDEO, DARK),
}


_DRAWN_IN: ContextVar[Look | None] = ContextVar("_DRAWN_IN", default=None)


@contextmanager
def settings(look: Look) -> Iterator[None]:
    """Draw inside this: the look's settings hold while it lasts, matplotlib's defaults otherwise."""
    if _DRAWN_IN.get() is look:  # panels of a figure that is drawn in it already
        yield
        return
    palette, size = look.palette, look.frame.font_pt
    wanted: Any = {
        "font.family": families(),
        "font.size": size,
        "text.parse_math": False,
        "axes.unicode_minus": True,
        "axes.titlesize": size,
        "axes.titlelocation": "left",
        "axes.titley": 1.0,  # none has ticks above it, which would have to be looked for
        "axes.labelsize": size,
        "axes.facecolor": palette.paper,
        "axes.edgecolor": palette.soft,
        "axes.labelcolor": palette.ink,
        "axes.titlecolor": palette.ink,
        "axes.linewidth": size * 0.08,
        "axes.grid": True,
        "axes.axisbelow": True,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "grid.color": palette.grid,
        "grid.linewidth": size * 0.07,
        "xtick.color": palette.soft,
        "ytick.color": palette.soft,
        "xtick.labelcolor": palette.ink,
        "ytick.labelcolor": palette.ink,
        "xtick.labelsize": size * 0.92,
        "ytick.labelsize": size * 0.92,
        "text.color": palette.ink,
        "figure.facecolor": palette.paper,
        "savefig.facecolor": palette.paper,
        "hatch.color": palette.soft,
        "hatch.linewidth": size * 0.06,
        "legend.frameon": True,
        "legend.framealpha": 0.9,
        "legend.facecolor": palette.paper,
        "legend.edgecolor": "none",
        "legend.borderpad": 0.2,
        "legend.fontsize": size * 0.92,
        "lines.solid_capstyle": "round",
        "path.simplify": True,
        "path.simplify_threshold": 0.05,
        "svg.fonttype": "path",
        "svg.hashsalt": "charprobe",
        "pdf.fonttype": 3,
    }
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(wanted)
        outer = _DRAWN_IN.set(look)
        try:
            yield
        finally:
            _DRAWN_IN.reset(outer)


@contextmanager
def panel(ax: Axes | None, look: Look) -> Iterator[Axes]:
    """Draw inside this, on the Axes given or on that of a new figure; the look's settings hold."""
    with settings(look):
        yield new_figure(look)[1][0] if ax is None else ax


def new_figure(look: Look, *, panels: int = 1) -> tuple[Figure, list[Axes]]:
    """Return a figure of the look's size with so many panels side by side, room left for title and footer."""
    frame = look.frame
    figure = Figure(figsize=(frame.width_in, frame.height_in), dpi=frame.dpi)
    FigureCanvasAgg(figure)
    em_x = frame.font_pt / 72 / frame.width_in
    em_y = frame.font_pt / 72 / frame.height_in
    axes = figure.subplots(1, panels, squeeze=False)[0]
    below = ScaledTranslation(0, -NAME_BELOW_IN - frame.font_pt * TICK_EM / 72, figure.dpi_scale_trans)
    for one in axes:  # below one line of numbers: where else, matplotlib lays out all of them again to see
        one.xaxis.set_label_coords(0.5, 0, one.transAxes + below)
    figure.subplots_adjust(
        left=5.2 * em_x, right=1 - 1.5 * em_x, top=1 - 5.9 * em_y, bottom=7.6 * em_y, wspace=0.26
    )
    return figure, list(axes)
