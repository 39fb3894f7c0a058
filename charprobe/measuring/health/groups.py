"""Which groups of quantities some segments speak to, and which are lost with them."""

from __future__ import annotations

from charprobe.placing.take import Take
from charprobe.profile.glossary import SERVES
from charprobe.stimulus.kinds.segment import Segment


def groups_of(segments: tuple[Segment, ...] | list[Segment]) -> tuple[str, ...]:
    """Groups that some of the segments speak to, each named once."""
    return tuple(dict.fromkeys(name for s in segments for name in SERVES.get(s.spec.kind, ())))


def lost_groups(take: Take, lost: list[Segment]) -> tuple[str, ...]:
    """Groups that no other segment of the capture speaks to."""
    kept = groups_of([s for s in take.stimulus.segments if s not in lost and take.holds(s)])
    return tuple(name for name in groups_of(lost) if name not in kept)
