"""Which quantities each kind of segment is measured for, and what is lost with a segment."""

from __future__ import annotations

from charprobe.placing.take import Take
from charprobe.stimulus.kinds.segment import Segment

GROUPS = {  # what each kind of segment is measured for
    "level_steps": ("static",),
    "bursts": ("attack", "release"),
    "burst_lengths": ("release",),
    "burst_train": ("release.train_swing", "release.train_held"),
    "sweep": ("response",),
    "tones": ("colour", "noise.under_signal", "noise.rise_under_signal"),
    "silence": ("noise",),
    "two_tone": ("colour.imd_smpte", "colour.imd_difference"),
    "equal_peak": ("detector.exponent",),
    "programme": ("replay",),
    "link": ("detector.link", "detector.crosstalk"),
}


def groups_of(segments: tuple[Segment, ...] | list[Segment]) -> tuple[str, ...]:
    """Groups that some of the segments speak to, each named once."""
    return tuple(dict.fromkeys(name for s in segments for name in GROUPS.get(s.spec.kind, ())))


def lost_groups(take: Take, lost: list[Segment]) -> tuple[str, ...]:
    """Groups that no other segment of the capture speaks to."""
    kept = groups_of([s for s in take.stimulus.segments if s not in lost and take.holds(s)])
    return tuple(name for name in groups_of(lost) if name not in kept)
