"""The synchronised exponential sine sweep."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Annotated, ClassVar, Literal

import numpy as np
from annotated_types import Interval

from charprobe.stimulus.kinds.segment import PIECE, RAMP_S, TOP_HZ, Piece, Segment, SegmentOf, Span, Spec
from charprobe.values.arrays import Array


@dataclass(frozen=True)
class Sweep(Spec):
    """A synchronised exponential sine sweep: the response."""

    kind: Literal["sweep"] = field(default="sweep", kw_only=True)
    rising: ClassVar[tuple[str, ...]] = ("from_hz", "to_hz")
    from_hz: Annotated[float, Interval(ge=5, le=TOP_HZ)]
    to_hz: Annotated[float, Interval(ge=5, le=22_000)]
    length_s: Annotated[float, Interval(ge=0.5, le=120)]
    level_dbfs: Annotated[float, Interval(ge=-80, le=0)]

    def lay_out(self, *, start: int, rate_hz: int) -> Segment:
        """Place the sweep; it has no tones."""
        return SegmentOf(self, Span(start, round(self.length_s * rate_hz)), ())

    def pieces(self, segment: Segment, *, rate_hz: int, side: int) -> Iterator[Piece]:
        """Yield the sweep."""
        for first in range(0, segment.span.length, PIECE):
            n = np.arange(first, min(first + PIECE, segment.span.length))
            yield segment.span.start + first, self.at(n / rate_hz)

    def at(self, seconds: Array) -> Array:
        """Value of the sweep at any times, in seconds from its start; zero outside it.

        ``A sin(2 pi f1 L exp(t / L))`` with ``L = length / ln(f2 / f1)``, so harmonics keep their phase
        (Novak, Lotton & Simon, JAES 63(10), 2015); raised-cosine fades of `RAMP_S` at both ends.
        """
        t = np.clip(seconds, 0.0, self.length_s)
        turns = self.turns(t)
        wave: Array = np.sin(2 * np.pi * (turns - np.floor(turns)))
        edge = np.minimum(t, self.length_s - t)
        fading = edge < RAMP_S
        wave[fading] *= 0.5 - 0.5 * np.cos(np.pi * edge[fading] / RAMP_S)
        return 10 ** (self.level_dbfs / 20) * wave

    def reached_s(self, frequency_hz: float) -> float:
        """When a frequency is reached."""
        share = np.log(frequency_hz / self.from_hz) / np.log(self.to_hz / self.from_hz)
        return float(np.clip(share, 0.0, 1.0)) * self.length_s

    def turns(self, seconds: Array) -> Array:
        """Periods gone by at any times within the sweep, in seconds from its start, plus a constant."""
        rate_s = self.length_s / np.log(self.to_hz / self.from_hz)
        return np.asarray(self.from_hz * rate_s * np.exp(seconds / rate_s))
