"""How attack and release change with the size of the step, and what that says about the stage."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from charprobe.values.quantity import Quantity, Reading

Meaning = Literal["smoothing after the curve", "smoothing before the curve", "neither"]

FEWEST = 3
STEADY = 0.1  # share by which times may change with the step and still count as the same
SPREAD = 1.5  # smallest ratio of largest to smallest gain change that tells anything


@dataclass(frozen=True)
class StepTimes:
    """Times of one step: gain change in dB (positive) and t63 of attack and release."""

    reduction_db: float
    attack_t63: Reading
    release_t63: Reading


@dataclass(frozen=True)
class StepDependence:
    """What the step does to the times.

    Attributes
    ----------
    attack_ratio, release_ratio : Quantity
        t63 at the largest step over t63 at the smallest.
    smallest_db, largest_db : float
        Gain changes of those steps.
    meaning : str
        "smoothing after the curve" if neither time depends on the step (the reduction in dB is smoothed);
        "smoothing before the curve" if the attack shortens and the release lengthens as the step grows, as
        where amplitude, power or level is smoothed; "neither" otherwise.
    """

    attack_ratio: Quantity
    release_ratio: Quantity
    smallest_db: float
    largest_db: float
    meaning: Meaning


def step_dependence(steps: Sequence[StepTimes]) -> StepDependence | None:
    """Compare attack and release over at least three steps; None if fewer can be compared.

    Parameters
    ----------
    steps : sequence of StepTimes
        Steps from one low level with one carrier, in any order.

    Notes
    -----
    With one pole on the reduction in dB, t63 is its time constant at every step. One on the level in dB has
    passed the threshold only after a time that shortens with the step, and passes it again after one that
    lengthens. With one pole on the amplitude, t63 measured in dB is ``ln((r - 1) / (r - r**0.632))`` time
    constants for a rise by the ratio r, and ``ln((r - 1) / (r**0.368 - 1))`` for a fall: 0.90 and 1.11 at a
    step of 3 dB, 0.45 and 1.91 at 20 dB.

    References
    ----------
    D. Giannoulis, M. Massberg, J. D. Reiss, "Digital dynamic range compressor design: a tutorial and
    analysis", J. Audio Eng. Soc. 60(6), 2012.
    """
    timed = [s for s in steps if _timed(s.attack_t63) and _timed(s.release_t63)]
    timed.sort(key=lambda s: s.reduction_db)
    if len(timed) < FEWEST or timed[-1].reduction_db < SPREAD * timed[0].reduction_db:
        return None
    attack = _ratio(timed[-1].attack_t63, timed[0].attack_t63)
    release = _ratio(timed[-1].release_t63, timed[0].release_t63)
    meaning: Meaning = "neither"
    if max(abs(math.log(attack.value)), abs(math.log(release.value))) < STEADY:
        meaning = "smoothing after the curve"
    elif attack.high < 1 - STEADY and release.low > 1 + STEADY:
        meaning = "smoothing before the curve"
    return StepDependence(attack, release, timed[0].reduction_db, timed[-1].reduction_db, meaning)


def _timed(time: Reading) -> bool:
    return isinstance(time, Quantity) and time.value > 0


def _ratio(above: Reading, below: Reading) -> Quantity:
    assert isinstance(above, Quantity) and isinstance(below, Quantity)
    ratio = above.value / below.value
    return Quantity.from_std(
        ratio, abs(ratio) * math.hypot(above.std / above.value, below.std / below.value), "1"
    )
