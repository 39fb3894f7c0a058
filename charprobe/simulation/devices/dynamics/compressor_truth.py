"""Closed forms of compressors under the published quantity names."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable

from charprobe.simulation.devices.parts.ballistics import Smoothing
from charprobe.simulation.devices.parts.gain_computer import Bends, threshold_1db_dbfs
from charprobe.simulation.devices.stage import TrueValue

FRACTIONS = {"t50": 0.5, "t63": 1 - math.exp(-1), "t90": 0.9}
ATTACK_WITHIN_S = 1.5e-4  # how far the envelope detector's delay moves an attack, for steps up to 40 dB ...
RELEASE_WITHIN_S = 4e-4  # ... and a release, whose fall it follows later; carriers of 1 kHz and up
# at an edge the reading overshoots by a dB or so for OVERSHOOT_S; what the attack catches delays the release
OVERSHOOT_S, OVERSHOOT_SHARE = 3e-4, 0.1


def static_truth(
    bends: Bends, *, makeup_db: float, threshold_shift_db: float, exact_knee: bool
) -> dict[str, TrueValue]:
    """Static quantities of a curve of at most two bends above their thresholds and one below.

    `threshold_shift_db` is added to thresholds: what the detector reads low for a sine. With `exact_knee`
    False detector ripple rounds the knee, and nothing is said about knee and 1 dB point.
    """
    above = sorted((bend for bend in bends if bend.side == "above"), key=lambda bend: bend.threshold_dbfs)
    below = [bend for bend in bends if bend.side == "below"]
    known: dict[str, TrueValue] = {}
    if below:  # at low level its own gain comes on top of the make-up
        lower_dbfs = below[0].threshold_dbfs + threshold_shift_db
        known["static.lower_threshold"] = TrueValue(lower_dbfs, "dBFS", note="sine")
        known["static.lower_slope"] = TrueValue(1 + below[0].slope, "dB/dB")
    else:
        known["static.makeup_gain"] = TrueValue(makeup_db, "dB")
        known["static.low_level_gain"] = TrueValue(makeup_db, "dB")
    if not above or above[0].slope <= 0 or math.isfinite(above[0].most_db):
        return known
    bend = above[0]
    known["static.threshold"] = TrueValue(bend.threshold_dbfs + threshold_shift_db, "dBFS", note="sine")
    known["static.slope"] = TrueValue(1 - bend.slope, "dB/dB")
    if bend.slope < 1:
        known["static.ratio"] = TrueValue(1 / (1 - bend.slope), ":1")
    if exact_knee:
        known["static.knee_width"] = TrueValue(bend.knee_db, "dB")
        lost_1db_dbfs = threshold_1db_dbfs(bend) + threshold_shift_db
        known["static.threshold_1db"] = TrueValue(lost_1db_dbfs, "dBFS", note="sine")
    if len(above) > 1:
        second_dbfs = above[1].threshold_dbfs + threshold_shift_db
        known["static.second_threshold"] = TrueValue(second_dbfs, "dBFS", note="sine")
        known["static.second_slope"] = TrueValue(1 - bend.slope - above[1].slope, "dB/dB")
    return known


def timing_truth(
    *, attack_s: float, release_s: float, hold_s: float, form: Smoothing
) -> dict[str, TrueValue]:
    """Times of ballistics on the reduction in dB, which are the same for every step."""
    note = "from no reduction and back to it" if form in ("branching", "decoupled") else "any step"
    decoupled = form in ("decoupled", "smooth decoupled")
    caught = 1.0 if decoupled or attack_s == 0 else 1 - math.exp(-OVERSHOOT_S / attack_s)
    within_s = RELEASE_WITHIN_S + OVERSHOOT_SHARE * caught * release_s
    known: dict[str, TrueValue] = {}
    for name, fraction in FRACTIONS.items():
        if not decoupled:  # there the overshoot, held, shortens the attack by its share of the step
            attack = -attack_s * math.log(1 - fraction)
            known[f"attack.{name}"] = TrueValue(attack, "s", ATTACK_WITHIN_S, note)
        lag_s = attack_s if decoupled else 0.0
        release = hold_s + cascaded_time_s(fraction, first_s=release_s, second_s=lag_s)
        known[f"release.{name}"] = TrueValue(release, "s", within_s, note)
    if not decoupled:  # there the attack's lag looks like a hold
        known["release.hold"] = TrueValue(hold_s, "s", within_s)
        known["release.stages"] = TrueValue(1, "1")
        known["release.tau_1"] = TrueValue(release_s, "s", within_s)
    return known


def cascaded_time_s(fraction: float, *, first_s: float, second_s: float) -> float:
    """Time two one-poles in a row take for `fraction` of a step; `second_s` 0 leaves one."""
    if second_s == 0:
        return -first_s * math.log(1 - fraction)

    def left(t: float) -> float:
        if math.isclose(first_s, second_s, rel_tol=1e-6):
            return (1 + t / first_s) * math.exp(-t / first_s) - (1 - fraction)
        rest = first_s * math.exp(-t / first_s) - second_s * math.exp(-t / second_s)
        return rest / (first_s - second_s) - (1 - fraction)

    return _zero(left, until_s=50 * (first_s + second_s))


def two_stage_truth(
    *, attack_s: float, fast_s: float, slow_s: float, slow_share: float
) -> dict[str, TrueValue]:
    """Times of a two-stage release after a burst that lasted many charging times."""
    note = "after bursts much longer than the slow store's charging time"
    known: dict[str, TrueValue] = {}
    for name, fraction in FRACTIONS.items():
        known[f"attack.{name}"] = TrueValue(-attack_s * math.log(1 - fraction), "s", ATTACK_WITHIN_S)
        release = two_stage_time_s(fraction, fast_s=fast_s, slow_s=slow_s, slow_part=slow_share)
        known[f"release.{name}"] = TrueValue(release, "s", RELEASE_WITHIN_S, note)
    known["release.stages"] = TrueValue(2, "1")
    known["release.tau_1"] = TrueValue(fast_s, "s", RELEASE_WITHIN_S)
    known["release.tau_2"] = TrueValue(slow_s, "s", RELEASE_WITHIN_S)
    known["release.tau_1_share"] = TrueValue(100 * (1 - slow_share), "%", note=note)
    return known


def two_stage_time_s(fraction: float, *, fast_s: float, slow_s: float, slow_part: float) -> float:
    """Time in which ``(1 - m) exp(-t/fast) + m exp(-t/slow)`` has fallen by `fraction`; m is `slow_part`."""

    def left(t: float) -> float:
        fast = (1 - slow_part) * math.exp(-t / fast_s)
        return fast + slow_part * math.exp(-t / slow_s) - (1 - fraction)

    return _zero(left, until_s=50 * max(fast_s, slow_s))


def _zero(left: Callable[[float], float], *, until_s: float) -> float:
    """Return where a function that falls reaches zero, by halves: no package is loaded for that."""
    step_s = until_s / (1 << 50)
    return step_s * bisect_left(range(1 << 50), 0.0, key=lambda n: -left(n * step_s))
