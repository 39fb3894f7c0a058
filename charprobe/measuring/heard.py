"""What plays in a take while nothing is played, listened to once."""

from __future__ import annotations

from charprobe.estimators.idle import Heard, hear_idle
from charprobe.placing.take import Take, once
from charprobe.stimulus.kinds.segment import SegmentOf
from charprobe.stimulus.kinds.steady import Silence


@once
def heard_in(take: Take, segment: SegmentOf[Silence]) -> Heard:
    """Listen to one silence segment of a take."""
    return hear_idle(segment, take.segment(segment))
