"""The project's own typeface: in figures, and inside pages."""

from __future__ import annotations

from base64 import b64encode
from functools import cache
from importlib import resources

from matplotlib import font_manager

FAMILY, SPARE = "Charprobe Sans", "DejaVu Sans"  # the spare one has characters of more scripts
WEIGHTS = {"regular": 400, "bold": 700}


@cache
def families() -> list[str]:
    """Return the families that figures are set in, first choice first; the typeface is made known."""
    folder = resources.files("charprobe.publishing.figures.look.fonts")
    for style in WEIGHTS:
        with resources.as_file(folder / f"sans-{style}.ttf") as path:
            font_manager.fontManager.addfont(path)
    return [FAMILY, SPARE]


@cache
def faces_css() -> str:
    """Return style rules that carry the typeface inside a page."""
    folder = resources.files("charprobe.publishing.figures.look.fonts")
    return "".join(
        f'@font-face{{font-family:"{FAMILY}";font-weight:{weight};src:url(data:font/woff;base64,'
        f"{b64encode((folder / f'sans-{style}.woff').read_bytes()).decode()})}}"
        for style, weight in WEIGHTS.items()
    )
