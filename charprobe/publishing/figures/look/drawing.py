"""A finished figure: panels under one heading with what goes with them, and its three files."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from charprobe.files import output
from charprobe.publishing.figures.look.strokes import Strokes
from charprobe.publishing.figures.look.style import Look, new_figure, settings
from charprobe.publishing.figures.look.text import ABSENT, lacks_glyphs, put_key_above, put_title_and_footer

Plot = Callable[..., Axes]
"""A ``plot_x`` with its data bound, called with the Axes and the look."""

METADATA = {
    "svg": {"Date": None, "Creator": None},
    "png": {"Software": None},
    "pdf": {"CreationDate": None, "ModDate": None, "Creator": None, "Producer": None},
}


@dataclass(frozen=True)
class Drawing:
    """A figure, the look it is drawn in, and its words.

    `name` says what it shows, for a file name: "static", "attack-release"; `title` is one line for a heading;
    `alt` the figure in words, with its main numbers, for those who cannot see it; `conditions` those under
    which it was measured, as in its footer.
    """

    figure: Figure
    look: Look
    name: str
    title: str
    alt: str
    conditions: str

    @cached_property
    def strokes(self) -> Strokes:
        """What the figure consists of, laid out once for all files."""
        return Strokes(self.figure)

    @property
    def notes(self) -> tuple[str, ...]:
        """What could not be drawn as it was asked."""
        if lacks_glyphs(self.title + self.conditions):
            return (f"Note: the font lacks some characters of the names; the figure shows {ABSENT} instead.",)
        return ()

    def rendered(self, kind: str) -> bytes:
        """Return the bytes of an "svg", "png" or "pdf" file; the same figure always gives the same bytes."""
        with settings(self.look):
            if kind == "png":
                return self.strokes.pixels(metadata=METADATA[kind])
            return self.strokes.vectors(kind, metadata=METADATA[kind])

    def inlined(self) -> bytes:
        """Return the SVG for inside a page that carries the typeface: its letters are letters."""
        stream = io.BytesIO()
        with settings(self.look), mpl.rc_context({"svg.fonttype": "none"}):
            self.figure.savefig(stream, format="svg", metadata=METADATA["svg"])
        return stream.getvalue()


def composed(
    name: str,
    look: Look,
    plots: Sequence[Plot],
    *,
    title: str,
    main: str,
    conditions: str,
    alt: str,
    **margins: float,
) -> Drawing:
    """Draw `plots` side by side under a title, the main numbers below it, the conditions at the foot.

    The panels' legends become one key above them, where no curve runs through it.
    `margins` go to ``subplots_adjust``; the other words are those of `Drawing`.
    """
    with settings(look):
        figure, panels = new_figure(look, panels=len(plots))
        figure.subplots_adjust(**margins)
        for plot, axes in zip(plots, panels, strict=True):
            plot(axes, look=look)
        put_key_above(figure, look.frame)
        put_title_and_footer(figure, look.frame, title=title, subtitle=main, footer=conditions)
    return Drawing(figure, look, name, title, alt, conditions)


def save_drawing(drawing: Drawing, folder: Path, *, stem: str, force: bool) -> tuple[Path, ...]:
    """Write a drawing to ``stem.svg``, ``.png`` and ``.pdf``, and its words to ``stem.txt``.

    `OutputError` if a file exists and `force` is false, or cannot be written.
    """
    paths = [folder / f"{stem}.{kind}" for kind in (*METADATA, "txt")]
    for path in paths:
        output.check_writable(path, force=force)
    for path, kind in zip(paths, METADATA, strict=False):
        output.write_bytes(path, drawing.rendered(kind), force=force)
    words = [drawing.title, drawing.alt, drawing.conditions, *drawing.notes]
    output.write_text(paths[-1], "\n\n".join(words) + "\n", force=force)
    return tuple(paths)
