"""Both halves of the late part of a steady tone: its level, and whether it still moved."""

from __future__ import annotations

from charprobe.estimators.static.level_steps import GUARD_S, LATE, ORDERS
from charprobe.estimators.tone import fit_tone
from charprobe.placing.take import Take
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.quantity import Quantity


def late_halves(take: Take, tone: Tone, *, frequency_hz: float) -> tuple[Quantity, Quantity] | None:
    """Return the levels in the third and the last quarter of a tone; None where noise hides either.

    Parameters
    ----------
    take : Take
        Holds the tone whole.
    tone : Tone
        As played.
    frequency_hz : float
        Its frequency on the stimulus clock, which is not refined.
    """
    begin, end = tone.start + LATE * tone.length, tone.stop - GUARD_S * take.stimulus.rate_hz
    middle = (begin + end) / 2
    first, second = (
        fit_tone(
            take.cut(*part),
            frequency_hz=frequency_hz,
            phase_origin=float(tone.start),
            orders=ORDERS,
            refine=False,
        ).level(1)
        for part in ((begin, middle), (middle, end))
    )
    return (first, second) if isinstance(first, Quantity) and isinstance(second, Quantity) else None
