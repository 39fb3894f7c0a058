"""Whether a channel holds the side of the stimulus that was meant for it."""

from __future__ import annotations

from charprobe.estimators.link import measure_link
from charprobe.placing.take import Take, held
from charprobe.profile.entry import Health
from charprobe.stimulus.kinds.link import Link
from charprobe.values.errors import SegmentTooShortError


def check_sides(take: Take) -> list[Health]:
    """Notice exchanged channels where the sides of the stimulus differ: code ``channel-swapped``."""
    segments = held(take, Link)
    if not segments or take.source.channels < 2 or take.channel > 1:
        return []
    try:
        side = measure_link(segments[0], take.segment(segments[0])).side
    except SegmentTooShortError:
        return []
    if side == take.channel + 1:
        return []
    message = (
        f"Channel {take.channel + 1} holds the signal meant for channel {side} ({take.source.name}): outputs "
        "or inputs are exchanged. Results stand under the channel they were recorded in. Put the cables "
        "right and retake, or mind which side is which"
    )
    return [Health("channel-swapped", "warn", message, channel=take.channel)]
