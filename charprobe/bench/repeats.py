"""A take taken again, set beside its first: what moved between them is the rig or a hand, not the setting."""

from __future__ import annotations

from collections.abc import Iterator

from charprobe.placing.align import Alignment
from charprobe.profile.entry import Health
from charprobe.values.wording import number_text, signed_text

MOVED_DB = 0.05  # of a gain between two takes of the same: smaller ones are what warm gear does
LATE_SAMPLES = 0.5


def moved_between(first: Alignment, again: Alignment, *, input_number: int) -> Iterator[Health]:
    """Tell gain, polarity and latency that differ between two takes of one setting through one rig.

    Both are alignments of one channel, recorded on input `input_number`.
    """
    where = f"input {input_number}, against the earlier take of the same"
    gain = again.gain_db - first.gain_db
    if abs(gain) > MOVED_DB:
        yield Health(
            "level-drift",
            "warn",
            f"the level is {signed_text(gain, 2)} dB ({where}): a gain or level knob was turned, or gear "
            "warms up. What lies between the two takes is in doubt by as much: put the knob back, take them "
            "again",
        )
    if again.polarity != first.polarity:
        yield Health(
            "polarity-inverted",
            "warn",
            f"the polarity has turned ({where}): another cable, output or input than before? Put it back, "
            "take again",
        )
    late = again.delay_samples.value - first.delay_samples.value
    if abs(late) > LATE_SAMPLES:
        by = f"{number_text(abs(late), 1)} samples {'later' if late > 0 else 'earlier'}"
        yield Health(
            "timing-jump",
            "warn",
            f"the loop is {by} ({where}): the buffer of the driver was changed. Sound and times hold; "
            "latency against the bypass does not: leave the buffer as it is and take the bypass again",
        )
