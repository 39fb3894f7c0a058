"""What a figure consists of once it is laid out: drawn as pixels, kept, and drawn again as vectors."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import partial
from typing import Any

from matplotlib.artist import Artist
from matplotlib.backend_bases import GraphicsContextBase, RendererBase
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.image import imsave
from matplotlib.text import Text
from matplotlib.transforms import Affine2D, Bbox, Transform, TransformedPath

SHAPES = ("draw_path", "draw_markers", "draw_path_collection", "draw_quad_mesh", "draw_gouraud_triangles")
MARKS = ("open_group", "close_group", "start_rasterizing", "stop_rasterizing")
COMPRESSION = 3  # of pixels: files a tenth larger than at 6, in a third of the time
Stroke = Callable[[RendererBase, Transform, float], None]  # draws it, smaller by a factor


class Strokes(RendererAgg):
    """Draws a figure's pixels and keeps every stroke, so that other files need no second layout.

    Laying out (ticks, their labels, what they keep clear of) takes longer than drawing.
    """

    def __init__(self, figure: Figure) -> None:
        super().__init__(*figure.bbox.size, figure.dpi)  # type: ignore[no-untyped-call]  # of no types
        self.size_in = tuple(figure.get_size_inches())
        self.strokes: list[Stroke] = []
        for name in SHAPES:  # pixels' own methods are attributes, not of the class
            setattr(self, name, partial(self._shape, name, getattr(self, name)))
        for name in MARKS:
            setattr(self, name, partial(self._mark, name))
        setattr(self, "draw_image", partial(self._image, self.draw_image))  # noqa: B010  # likewise
        figure.draw(self)

    def pixels(self, *, metadata: dict[str, Any]) -> bytes:
        """Return the bytes of a PNG file."""
        stream = io.BytesIO()
        how = {"compress_level": COMPRESSION}
        imsave(stream, self.buffer_rgba(), format="png", dpi=self.dpi, metadata=metadata, pil_kwargs=how)  # type: ignore[no-untyped-call]  # of no types
        return stream.getvalue()

    def vectors(self, kind: str, *, metadata: dict[str, Any]) -> bytes:
        """Return the bytes of an "svg" or "pdf" file."""
        figure = Figure(figsize=self.size_in, dpi=self.dpi)
        figure.patch.set_visible(False)  # among the strokes
        figure.add_artist(_Again(self))
        stream = io.BytesIO()
        figure.savefig(stream, format=kind, metadata=metadata)
        return stream.getvalue()

    def _mark(self, name: str, *given: Any, **named: Any) -> None:
        """Keep what draws nothing: names of groups, and which parts of a vector file are pixels."""
        self.strokes.append(lambda to, _scaled, _scale: getattr(to, name)(*given, **named))

    def draw_text(
        self,
        gc: GraphicsContextBase,
        x: float,
        y: float,
        s: str,
        prop: FontProperties,
        angle: float,
        ismath: Any = False,
        mtext: Text | None = None,
    ) -> None:
        """Draw a line of text."""
        state, font, height = _state(gc), prop.copy(), self.height

        def again(to: RendererBase, scaled: Transform, scale: float) -> None:
            down = y * scale if to.flipy() else (height - y) * scale
            to.draw_text(_context(to, state, scaled), x * scale, down, s, font, angle, ismath, mtext)

        self.strokes.append(again)
        super().draw_text(gc, x, y, s, prop, angle, ismath, mtext)  # type: ignore[no-untyped-call]  # of no types

    def _shape(
        self, name: str, draw: Callable[..., None], gc: GraphicsContextBase, *given: Any, **named: Any
    ) -> None:
        state = _state(gc)
        frozen = [one.frozen() if isinstance(one, Transform) else one for one in given]

        def again(to: RendererBase, scaled: Transform, _scale: float) -> None:
            own = [one + scaled if isinstance(one, Transform) else one for one in frozen]
            getattr(to, name)(_context(to, state, scaled), *own, **named)

        self.strokes.append(again)
        draw(gc, *given, **named)

    def _image(
        self, draw: Callable[..., None], gc: GraphicsContextBase, x: float, y: float, image: Any
    ) -> None:
        state = _state(gc)

        def again(to: RendererBase, scaled: Transform, scale: float) -> None:
            to.draw_image(_context(to, state, scaled), x * scale, y * scale, image)

        self.strokes.append(again)
        draw(gc, x, y, image)


class _Again(Artist):
    """All strokes of a figure, as one thing to be drawn."""

    def __init__(self, strokes: Strokes) -> None:
        super().__init__()
        self.kept = strokes

    def draw(self, renderer: RendererBase) -> None:
        """Draw them in the renderer's units, which differ where parts of a vector file are pixels."""
        for stroke in self.kept.strokes:
            scale = renderer.get_canvas_width_height()[0] / self.kept.width
            stroke(renderer, Affine2D().scale(scale), scale)


State = tuple[GraphicsContextBase, Bbox | None, Any]


def _state(gc: GraphicsContextBase) -> State:
    """Return a copy of how something is drawn: the original is changed for what is drawn next."""
    kept, clip = GraphicsContextBase(), gc.get_clip_rectangle()
    kept.copy_properties(gc)
    return kept, None if clip is None else clip.frozen(), gc.get_clip_path()


def _context(to: RendererBase, state: State, scaled: Transform) -> GraphicsContextBase:
    kept, clip, (path, affine) = state
    gc = to.new_gc()
    gc.copy_properties(kept)
    gc.set_clip_rectangle(None if clip is None else clip.transformed(scaled))
    gc.set_clip_path(None if path is None else TransformedPath(path, affine + scaled))
    return gc
