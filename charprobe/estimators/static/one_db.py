"""The level at which the gain lies 1 dB below that at rest: on the curve, or between steps if none holds."""

from __future__ import annotations

import math

import numpy as np

from charprobe.estimators.static.bends import BendsFit
from charprobe.estimators.static.curve import HIGHER_STEPS, StaticCurve, between_steps, in_dbfs
from charprobe.values.between_chords import between_chords
from charprobe.values.quantity import Quantity, Reading, Unmeasured

ONE_DB = 1.0
WITNESSES = 2  # steps within a bend that show its shape: one only tells how wide it is
MISSED_DB = 0.05  # by which a curve may miss the steps beside a level that is read off it


def threshold_1db(curve: StaticCurve, *, bent: bool) -> Reading:
    """Level where the gain is 1 dB below the low-level gain: on the curve, or between steps if none holds.

    A curve that is bent throughout is known at its steps only, as any other might pass through them.
    """
    low, unit = curve.low_level_gain, "dBFS"
    if isinstance(low, Unmeasured):
        return low.as_of(unit)
    level, gain, std = curve.used
    fit, found = curve.fit, _one_db_down(curve, curve.fit, low.value)
    if fit is not None and found is not None and curve.missed_db(found[0]) > MISSED_DB:
        fit, found = None, _one_db_down(curve, None, low.value)  # the steps beside it know better
    if found is None:
        reason = f"the gain has not fallen by 1 dB at {in_dbfs(level[-1])}, the highest step in use"
        missing = Unmeasured(unit, reason, HIGHER_STEPS, at_least=float(level[-1]), cause="low-levels")
        return curve.asked_above(missing)
    value, slope = found
    if fit is None:
        _, bow, spread = between_steps(level, gain, std, value)
        spread = math.hypot(spread, low.std, 2 * bow)
    else:
        weights = fit.jacobian(np.array([value]))
        weights[:, 0] -= 1.0
        spread = math.hypot(float(fit.spread(weights)[0]), curve.missed_db(value))
        if bent:
            between, bow, _ = between_steps(level, gain, std, value)
            spread = math.hypot(spread, 2 * bow, between - float(fit.gain(np.array([value]))[0]))
    spread = math.hypot(spread, curve.common_std_db) / abs(slope)
    reading = Quantity.from_std(value, math.hypot(spread, curve.axis_std_db), unit)
    if fit is None or _witnesses(curve, fit, value) >= WITNESSES:
        return reading
    first, last = between_chords(*curve.means[:2], at=value, value=low.value - ONE_DB)
    return Quantity(value, reading.low - max(0.0, value - first), reading.high + max(0.0, last - value), unit)


def _witnesses(curve: StaticCurve, fit: BendsFit, input_dbfs: float) -> int:
    """How many steps lie within a bend that reaches between those beside a level; enough if none does."""
    level = curve.means[0]
    after = int(np.clip(np.searchsorted(level, input_dbfs), 1, level.size - 1))
    reaches = [fit.reach(bend) for bend in range(len(fit.shape.facing))]
    met = [(low, high) for low, high in reaches if low < level[after] and high > level[after - 1]]
    return min((int(np.sum((level > low) & (level < high))) for low, high in met), default=WITNESSES)


def _one_db_down(curve: StaticCurve, fit: BendsFit | None, low_db: float) -> tuple[float, float] | None:
    """Level where a curve, or else the lines between its steps, lies 1 dB below a gain; its slope there."""
    level = curve.used[0]
    begin = curve.flat_section.begin if curve.flat_section is not None else -np.inf
    grid = np.unique(
        np.concatenate([np.linspace(max(begin, level[0]), level[-1], 2000), level[level > begin]])
    )
    course = (fit.gain(grid) if fit is not None else np.interp(grid, *curve.means[:2])) - low_db + ONE_DB
    hits = np.flatnonzero((course[:-1] > 0) & (course[1:] <= 0))
    if hits.size == 0:
        return None
    hit = int(hits[0])
    slope = float((course[hit + 1] - course[hit]) / (grid[hit + 1] - grid[hit]))
    return float(grid[hit] - course[hit] / slope), slope
