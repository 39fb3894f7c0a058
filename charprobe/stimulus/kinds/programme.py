"""Made-up speech, strings, drums and chords in turn: what a model of a stage is proved on, never fitted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from typing import Annotated, Literal

import numpy as np
from annotated_types import Interval

from charprobe.stimulus.kinds.material import PEAK, Material, generate
from charprobe.stimulus.kinds.segment import PIECE, Dbfs, Piece, Segment, SegmentOf, Span, Spec
from charprobe.values.arrays import Array

PASSAGES: tuple[Material, ...] = ("speech", "plucked", "drums", "sustained")
FADE_S = 0.02  # at both ends of a passage


@dataclass(frozen=True)
class Programme(Spec):
    """Speech-like, plucked, drum-like and sustained sound in turn: proof of a model that never saw it.

    Each passage peaks at `level_dbfs` and lasts a quarter of `length_s`; `seed` decides every note.
    """

    kind: Literal["programme"] = field(default="programme", kw_only=True)
    length_s: Annotated[float, Interval(ge=4, le=300)]
    level_dbfs: Dbfs
    seed: Annotated[int, Interval(ge=0, le=1_000_000)] = 1

    def lay_out(self, *, start: int, rate_hz: int) -> Segment:
        """Place the programme; it has no tones."""
        return SegmentOf(self, Span(start, round(self.length_s * rate_hz)), ())

    def pieces(self, segment: Segment, *, rate_hz: int, side: int) -> Iterator[Piece]:
        """Yield passage after passage."""
        start = segment.span.start
        for i, size in enumerate(_sizes(segment.span.length)):
            samples = _passage(self, i, size, rate_hz)
            for first in range(0, size, PIECE):
                yield start + first, samples[first : first + PIECE]
            start += size

    def passages(self, segment: Segment) -> tuple[tuple[Material, Span], ...]:
        """Return what sounds where."""
        starts = np.cumsum([segment.span.start, *_sizes(segment.span.length)]).tolist()
        spans = (Span(first, stop - first) for first, stop in pairwise(starts))
        return tuple(zip(PASSAGES, spans, strict=True))


def _sizes(count: int) -> list[int]:
    edges = [round(count * i / len(PASSAGES)) for i in range(len(PASSAGES) + 1)]
    return [stop - start for start, stop in pairwise(edges)]


@lru_cache(maxsize=len(PASSAGES))  # a capture is compared with what was played more than once
def _passage(spec: Programme, index: int, size: int, rate_hz: int) -> Array:
    rng = np.random.default_rng([spec.seed, index])
    samples = generate(PASSAGES[index], seconds=size / rate_hz, rate_hz=rate_hz, rng=rng)
    n = np.arange(size)
    edge = np.clip((np.minimum(n, size - 1 - n) + 0.5) / (FADE_S * rate_hz), 0.0, 1.0)
    samples = 10 ** (spec.level_dbfs / 20) / PEAK * samples * (0.5 - 0.5 * np.cos(np.pi * edge))
    samples.flags.writeable = False
    return samples
