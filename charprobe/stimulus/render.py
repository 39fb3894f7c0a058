"""From recipe to timetable, and from timetable to sound."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from charprobe.stimulus.ident import ident_length, render_ident
from charprobe.stimulus.kinds.segment import PIECE, Piece, Segment, Span, laid_out
from charprobe.stimulus.marker import render_sync, sync_length
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.arrays import Array
from charprobe.values.errors import RecipeError
from charprobe.values.wording import number_text

AFTER_OPENING_S = 0.25
AFTER_IDENT_S = 0.4
LONGEST_S = 1800  # of bench time; and what measures it reads it whole: half an hour at 192 kHz is 2.8 GB


def lay_out(recipe: Recipe, *, rate_hz: int, take: int) -> Stimulus:
    """Place everything `recipe` plays at one sampling rate, 44 100 to 192 000 Hz.

    The ident carries `take`, 0 to 255. `RecipeError` if it would last longer than `LONGEST_S`.
    """
    opening = Span(round(recipe.pre_roll_s * rate_hz), sync_length(rate_hz))
    ident = Span(opening.stop + round(AFTER_OPENING_S * rate_hz), ident_length(rate_hz))
    position = ident.stop + round(AFTER_IDENT_S * rate_hz)
    segments: list[Segment] = []
    for spec in recipe.segments:
        segments.append(spec.lay_out(start=position, rate_hz=rate_hz))
        position = segments[-1].span.stop + round(spec.gap_s * rate_hz)
        if position > LONGEST_S * rate_hz:
            raise RecipeError(
                f"recipe {recipe.name}: `{spec.name}` ends after {number_text(position / rate_hz, 0)} s; "
                f"allowed: a stimulus of at most {LONGEST_S} s. Shorten segments or split the recipe"
            )
    closing = Span(position, sync_length(rate_hz))
    length = closing.stop + round(recipe.tail_s * rate_hz)
    return Stimulus(recipe, rate_hz, take, opening, ident, tuple(segments), closing, length)


def render_pieces(stimulus: Stimulus, *, side: int = 1) -> Iterator[Piece]:
    """Yield (start, samples) of everything that a side sounds, in playing order; between them is silence."""
    recipe, rate_hz = stimulus.recipe, stimulus.rate_hz
    sync: dict[str, Any] = {"rate_hz": rate_hz, "level_dbfs": recipe.sync_dbfs}
    yield stimulus.opening.start, render_sync("opening", **sync)
    code = render_ident(recipe.hash[:6], stimulus.take, **sync)
    yield stimulus.ident.start, code
    for segment in stimulus.segments:
        yield from segment.pieces(rate_hz=rate_hz, side=side)
    yield stimulus.closing.start, render_sync("closing", **sync)


def render_blocks(stimulus: Stimulus) -> Iterator[Array]:
    """Yield everything that is played, block by block; shapes ``(n, stimulus.channels)``, one after another.

    A long stimulus takes no more memory than a short one.
    """
    sides = [render_pieces(stimulus, side=side + 1) for side in range(stimulus.channels)]
    reached = 0
    for pieces in zip(*sides, strict=True):
        yield from _silence(pieces[0][0] - reached, stimulus.channels)
        yield np.stack([samples for _, samples in pieces], axis=1)
        reached = pieces[0][0] + pieces[0][1].size
    yield from _silence(stimulus.length - reached, stimulus.channels)


def _silence(count: int, channels: int) -> Iterator[Array]:
    for start in range(0, count, PIECE):
        yield np.zeros((min(PIECE, count - start), channels))


def render(stimulus: Stimulus) -> Array:
    """Render side 1 of the whole stimulus; shape ``(stimulus.length,)``, full scale = 1."""
    return laid_out(render_pieces(stimulus), 0, stimulus.length)


def render_between(stimulus: Stimulus, start: int, stop: int) -> Array:
    """Render side 1 from one stimulus sample to another, silence beyond its ends; shape ``(stop - start,)``.

    Only what sounds between them is made: a piece of a long stimulus costs no more than one of a short one.
    """
    near = tuple(s for s in stimulus.segments if s.span.start < stop and s.span.stop > start)
    return laid_out(render_pieces(replace(stimulus, segments=near)), start, stop)


def render_sides(stimulus: Stimulus) -> Array:
    """Render everything that is played; shape ``(stimulus.length, stimulus.channels)``."""
    return np.concatenate(list(render_blocks(stimulus)))
