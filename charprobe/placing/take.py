"""A take: one channel of a capture, placed on the stimulus clock."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar, cast

from charprobe.placing.align import Alignment, locate
from charprobe.placing.track import Track
from charprobe.stimulus.kinds.segment import S, Segment, SegmentOf, Tone
from charprobe.values.cut import Cut

Given = ParamSpec("Given")
Found = TypeVar("Found")
BY_TONE = ("level_steps", "tones")  # kinds of segment whose tones are measured one by one


@dataclass(frozen=True)
class Take(Track):
    """A track with the place of its stimulus.

    Attributes
    ----------
    alignment : Alignment
        The stimulus clock in capture samples.
    damaged : tuple of (float, float)
        Stretches no result may come from, first and last, in capture samples.
    clipped : tuple of (float, float)
        Stretches whose levels are the recorder's ceiling, first and last, in capture samples.
    """

    alignment: Alignment
    damaged: tuple[tuple[float, float], ...] = ()
    clipped: tuple[tuple[float, float], ...] = ()

    def cut(self, start: float, stop: float) -> Cut:
        """Read the samples whose stimulus position lies in ``[start, stop)``, clipped to the file.

        Parameters
        ----------
        start, stop : float
            Stimulus positions, in stimulus samples.

        Returns
        -------
        Cut
            Samples as recorded, each with its place on the stimulus clock. Where the capture lost or gained
            samples inside the cut, the places hold for the part before.
        """
        at = float(self.alignment.capture_index(start))
        first = min(max(math.ceil(at), 0), self.source.frames)
        last = min(max(math.ceil(self.alignment.capture_index(stop)), first), self.source.frames)
        begins = start + (first - at) * self.alignment.step
        samples = self.source.read(first, last, self.channel)
        return Cut(samples, begins, self.alignment.step, self.stimulus.rate_hz)

    def segment(self, segment: Segment, margin_s: float = 0.05) -> Cut:
        """Read one segment with a margin on both sides, in s."""
        margin = margin_s * self.stimulus.rate_hz
        return self.cut(segment.span.start - margin, segment.span.stop + margin)

    def holds(self, segment: Segment) -> bool:
        """Tell whether the whole of a segment lies inside the file and none of it is spoiled.

        Where each tone is measured by itself, clipped ones do not spoil the others: see `intact`.
        """
        first = self.alignment.capture_index(segment.span.start)
        last = self.alignment.capture_index(segment.span.stop)
        return first >= 0 and last <= self.source.frames and not self.spoils(segment)

    def spoils(self, segment: Segment) -> bool:
        """Tell whether damage touches a segment, or clipping in a way that leaves nothing of it."""
        by_tone = segment.spec.kind in BY_TONE and self.intact(segment).tones
        stretches = self.damaged if by_tone else (*self.damaged, *self.clipped)
        return self._touched(segment.span.start, segment.span.stop, stretches)

    def intact(self, segment: Segment) -> Segment:
        """Return a segment without the tones that are damaged or clipped."""
        spoiled = (*self.damaged, *self.clipped)
        if not spoiled:
            return segment
        tones = (tone for tone in segment.tones if not self._touched(tone.start, tone.stop, spoiled))
        return replace(segment, tones=tuple(tones))

    def single_tones(self) -> Iterator[Tone]:
        """Tones measured one by one, of segments that the capture holds, without the spoiled ones."""
        for segment in self.stimulus.segments:
            if segment.spec.kind in BY_TONE and self.holds(segment):
                yield from self.intact(segment).tones

    def _touched(self, start: float, stop: float, stretches: tuple[tuple[float, float], ...]) -> bool:
        if not stretches:
            return False
        first, last = self.alignment.capture_index(start), self.alignment.capture_index(stop)
        return any(begin < last and end >= first for begin, end in stretches)

    def capture_time_s(self, position: float) -> float:
        """Seconds from the first sample of the capture to a stimulus position: what an editor shows."""
        return float(self.alignment.capture_index(position)) / self.source.rate_hz


def place_take(track: Track) -> Take:
    """Find the stimulus of a track.

    Raises
    ------
    AlignmentError
        If it is not there: says what the capture holds instead.
    """
    return Take(track.source, track.channel, track.stimulus, locate(track))


def once(find: Callable[Concatenate[Take, Given], Found]) -> Callable[Concatenate[Take, Given], Found]:
    """Keep what a function finds in a take for as long as the take is in use: a bypass serves many settings.

    All but the take must be hashable, and what is found must not be changed.
    """

    @wraps(find)
    def kept(take: Take, /, *args: Given.args, **named: Given.kwargs) -> Found:
        known: dict[object, Any] = take.__dict__.setdefault("_found", {})
        key = (find, args, tuple(named.items()))
        if key not in known:
            known[key] = find(take, *args, **named)
        return cast("Found", known[key])

    return kept


def held(take: Take, kind: type[S]) -> tuple[SegmentOf[S], ...]:
    """Segments of one kind that lie wholly inside the capture and are not spoiled, in playing order."""
    return tuple(segment for segment in take.stimulus.of_kind(kind) if take.holds(segment))
