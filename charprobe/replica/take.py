"""What every take must be before a replica is let at it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from charprobe.files.sound.frames import frame_blocks
from charprobe.files.sound.sound_file import Capture
from charprobe.replica.model import Replica
from charprobe.values.errors import ReplicaError
from charprobe.values.wording import clock_text

LOWEST_RATE_HZ = 8000
MOST_CHANNELS = 32


def check_take(take: Capture) -> float:
    """Return the peak of a take; refuses silence, what is not finite, and formats out of all reason."""
    if take.rate_hz < LOWEST_RATE_HZ or take.channels > MOST_CHANNELS:
        raise ReplicaError(
            f"{take.path}: {take.rate_hz} Hz, {take.channels} channels; a replica runs from "
            f"{LOWEST_RATE_HZ} Hz on and with up to {MOST_CHANNELS} channels. Nothing was written"
        )
    peak, start = 0.0, 0
    for block in frame_blocks(take):
        wrong = ~np.isfinite(block).all(axis=1)
        if wrong.any():
            at = clock_text((start + int(np.argmax(wrong))) / take.rate_hz)
            raise ReplicaError(
                f"{take.path}: holds values that are no numbers (first at {at}): a plug-in failed while it "
                "was exported. Export it again. Nothing was written"
            )
        peak, start = max(peak, float(np.abs(block).max())), start + len(block)
    if peak == 0:
        raise ReplicaError(f"{take.path}: is silent from start to end: choose another. Nothing was written")
    return peak


def cautions_of(replica: Replica, take: Capture) -> Iterator[str]:
    """What to mind of a take: that it was cut off, or has another rate than the replica's."""
    if take.facts.length == "longer than file":
        end = clock_text(take.facts.duration_s)
        yield f"The take ends at {end}, before its header says: it was cut off, and so is the result."
    if take.rate_hz != replica.rate_hz:
        yield (
            f"The take has {take.rate_hz} Hz, the setting was captured at {replica.rate_hz} Hz: a plug-in "
            "may answer otherwise at another rate, analogue gear does not."
        )
