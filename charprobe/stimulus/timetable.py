"""Stimuli: the timetable of everything a rendered recipe plays, to the sample."""

from __future__ import annotations

from dataclasses import dataclass

from charprobe.stimulus.recipe import Link, Recipe, Spec


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

    start: int
    length: int
    frequency_hz: float
    level_dbfs: float
    phase_rad: float
    ramp: int
    group: int

    @property
    def stop(self) -> int:
        """First sample after the tone."""
        return self.start + self.length


@dataclass(frozen=True)
class Span:
    """A stretch of the stimulus, in samples from its first sample."""

    start: int
    length: int

    @property
    def stop(self) -> int:
        """First sample after the span."""
        return self.start + self.length


@dataclass(frozen=True)
class Segment:
    """One segment of the recipe, placed: `span` holds its sound, without the gap that follows.

    `tones` are in playing order; a sweep has none and starts at ``span.start``, nor has `link`, of which each
    side plays its own.
    """

    spec: Spec
    span: Span
    tones: tuple[Tone, ...]

    @property
    def sides_alike(self) -> bool:
        """Whether every channel plays the same."""
        return not isinstance(self.spec, Link)


@dataclass(frozen=True)
class Stimulus:
    """The timetable of one take of a recipe at one sampling rate.

    `opening` and `closing` are the sync chirps, `ident` the code that names recipe and take;
    `length` counts all samples from the first of the pre-roll to the last of the tail.
    """

    recipe: Recipe
    rate_hz: int
    take: int
    opening: Span
    ident: Span
    segments: tuple[Segment, ...]
    closing: Span
    length: int

    @property
    def alike(self) -> tuple[Segment, ...]:
        """Segments that every channel plays alike."""
        return tuple(segment for segment in self.segments if segment.sides_alike)

    @property
    def channels(self) -> int:
        """Channels it is played on: two if a segment drives the sides apart, else one."""
        return 1 if self.alike == self.segments else 2

    @property
    def duration_s(self) -> float:
        """Length of the whole stimulus in seconds."""
        return self.length / self.rate_hz
