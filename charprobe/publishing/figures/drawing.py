"""A finished figure with what goes with it, and its three files."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

from matplotlib.figure import Figure

from charprobe.files import output
from charprobe.publishing.figures.style import Look, settings
from charprobe.publishing.figures.text import ABSENT, lacks_glyphs

METADATA = {
    "svg": {"Date": None, "Creator": None},
    "png": {"Software": None},
    "pdf": {"CreationDate": None, "ModDate": None, "Creator": None, "Producer": None},
}


@dataclass(frozen=True)
class Drawing:
    """A figure, the look it is drawn in, and its words.

    Attributes
    ----------
    name : str
        What the figure shows, for a file name: "static", "attack-release", ...
    title : str
        One line for a heading.
    alt : str
        The figure in words, with its main numbers, for those who cannot see it.
    conditions : str
        Under what conditions it was measured; the footer says the same.
    """

    figure: Figure
    look: Look
    name: str
    title: str
    alt: str
    conditions: str

    @property
    def notes(self) -> tuple[str, ...]:
        """What could not be drawn as it was asked."""
        if lacks_glyphs(self.title + self.conditions):
            return (f"Note: the font lacks some characters of the names; the figure shows {ABSENT} instead.",)
        return ()

    def rendered(self, kind: str) -> bytes:
        """Return the bytes of an "svg", "png" or "pdf" file; the same figure always gives the same bytes."""
        stream = io.BytesIO()
        with settings(self.look):
            self.figure.savefig(stream, format=kind, metadata=METADATA[kind])
        return stream.getvalue()


def save_drawing(drawing: Drawing, folder: Path, *, stem: str, force: bool) -> tuple[Path, ...]:
    """Write a drawing to ``stem.svg``, ``.png`` and ``.pdf``, and its words to ``stem.txt``.

    Raises
    ------
    OutputError
        If a file exists and `force` is false, or cannot be written.
    """
    paths = [folder / f"{stem}.{kind}" for kind in (*METADATA, "txt")]
    for path in paths:
        output.check_writable(path, force=force)
    for path, kind in zip(paths, METADATA, strict=False):
        output.write_bytes(path, drawing.rendered(kind), force=force)
    words = [drawing.title, drawing.alt, drawing.conditions, *drawing.notes]
    output.write_text(paths[-1], "\n\n".join(words) + "\n", force=force)
    return tuple(paths)
