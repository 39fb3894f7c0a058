"""What every segment kind is made of: its description in a recipe, and its place in the timetable."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Annotated, ClassVar, Generic, TypeAlias, TypeVar

import numpy as np
from annotated_types import Interval, Len

from charprobe.files.limits import Says
from charprobe.values.arrays import Array

TOP_HZ = 20_000.0  # every recipe must fit the lowest rate
RAMP_S = 0.005  # soft start and end of everything a recipe plays

Name = Annotated[str, Says("a name of small letters, digits, - and _", "^[a-z0-9][a-z0-9_-]{0,39}$")]
Hz = Annotated[float, Interval(ge=20, le=TOP_HZ)]
HzList = Annotated[tuple[Hz, ...], Len(1, 64)]
Dbfs = Annotated[float, Interval(ge=-100, le=0)]
DbfsList = Annotated[tuple[Dbfs, ...], Len(1, 64)]
Position = Annotated[int, Interval(ge=0)]
Length = Annotated[int, Interval(ge=1)]
ToneS = Annotated[float, Interval(ge=0.05, le=30)]
Piece: TypeAlias = tuple[int, Array]  # first sample in the stimulus, and the samples
PIECE = 1 << 20  # samples that a piece of a long tone or sweep holds


@dataclass(frozen=True)
class Tone:
    """One steady tone of a segment: ``10**(level/20) * cos(2 pi f (n - start) / rate + phase)``.

    Attributes
    ----------
    start, length : int
        Samples of the stimulus, counted from its very first sample.
    frequency_hz, level_dbfs, phase_rad : float
        Carrier; a full-scale sine is 0 dBFS; the phase is the cosine's at `start`.
    ramp : int
        Samples over which the level moves (raised cosine) from that of the tone it follows without a gap,
        or from silence, at the start of this tone; 0 is a hard edge.
    group : int
        Tones of one group belong together: a burst's low, high and low again; a step is a group of its own.
    """

    start: Position
    length: Length
    frequency_hz: Annotated[float, Interval(ge=1)]
    level_dbfs: Annotated[float, Interval(ge=-200, le=0)]
    phase_rad: Annotated[float, Interval(ge=-2 * math.pi, le=2 * math.pi)]
    ramp: Position
    group: Annotated[int, Interval(ge=0)]

    @property
    def stop(self) -> int:
        """First sample after the tone."""
        return self.start + self.length


@dataclass(frozen=True)
class Span:
    """A stretch of the stimulus, in samples from its first sample."""

    start: Position
    length: Length

    @property
    def stop(self) -> int:
        """First sample after the span."""
        return self.start + self.length


@dataclass(frozen=True)
class Spec(ABC):
    """A segment as a recipe describes it; each kind adds its fields, its timetable and its sound.

    Every field is declared with its range. Levels (``..dbfs``) may not exceed the recipe's peak, and the
    fields named in `rising` grow in that order. `sides_alike` tells whether every channel plays the same.
    """

    rising: ClassVar[tuple[str, ...]] = ()
    sides_alike: ClassVar[bool] = True
    kind: str = field(default="", kw_only=True)
    name: Name
    gap_s: Annotated[float, Interval(ge=0, le=60)] = field(default=0.3, kw_only=True)

    @abstractmethod
    def lay_out(self, *, start: int, rate_hz: int) -> Segment:
        """Place the segment from stimulus sample `start` on."""

    @abstractmethod
    def pieces(self, segment: Segment, *, rate_hz: int, side: int) -> Iterator[Piece]:
        """Yield what one side sounds of the segment that `lay_out` placed, in order, in short pieces."""


S = TypeVar("S", bound=Spec)
S_co = TypeVar("S_co", bound=Spec, covariant=True)


@dataclass(frozen=True)
class SegmentOf(Generic[S_co]):
    """One segment of the recipe, placed: `span` holds its sound, without the gap that follows.

    `tones` are in playing order; a sweep has none and starts at ``span.start``, nor has `link`, of which each
    side plays its own.
    """

    spec: S_co
    span: Span
    tones: tuple[Tone, ...]

    def pieces(self, *, rate_hz: int, side: int = 1) -> Iterator[Piece]:
        """Yield (start in the stimulus, samples) of what one side sounds; between pieces is silence."""
        return self.spec.pieces(self, rate_hz=rate_hz, side=side)

    def render(self, *, rate_hz: int, side: int = 1) -> Array:
        """Render one side; shape ``(span.length,)``."""
        return laid_out(self.pieces(rate_hz=rate_hz, side=side), self.span.start, self.span.stop)


Segment: TypeAlias = SegmentOf[Spec]


def laid_out(pieces: Iterable[Piece], start: int, stop: int) -> Array:
    """Lay pieces of sound from one stimulus sample to another, silence where none is."""
    out = np.zeros(stop - start)
    for first, samples in pieces:
        low, high = max(first, start), min(first + samples.size, stop)
        if low < high:
            out[low - start : high - start] = samples[low - first : high - first]
    return out
