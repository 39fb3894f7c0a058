"""Stimuli: the timetable of everything a rendered recipe plays, to the sample."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from charprobe.stimulus.kinds.segment import S, Segment, SegmentOf, Span
from charprobe.stimulus.recipe import Recipe


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

    def of_kind(self, kind: type[S]) -> tuple[SegmentOf[S], ...]:
        """Segments of one kind, in playing order."""
        return tuple(cast(SegmentOf[S], s) for s in self.segments if isinstance(s.spec, kind))

    @property
    def alike(self) -> tuple[Segment, ...]:
        """Segments that every channel plays alike."""
        return tuple(segment for segment in self.segments if segment.spec.sides_alike)

    @property
    def channels(self) -> int:
        """Channels it is played on: two if a segment drives the sides apart, else one."""
        return 1 if self.alike == self.segments else 2

    @property
    def duration_s(self) -> float:
        """Length of the whole stimulus in seconds."""
        return self.length / self.rate_hz
