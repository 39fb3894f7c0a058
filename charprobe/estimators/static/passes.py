"""Rising against falling pass: does the settled gain depend on where the level came from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

import numpy as np

from charprobe.estimators.static.curve import FLOOR_DB, MORE_STEPS, StaticCurve
from charprobe.estimators.static.points import pairs_by_level
from charprobe.values.quantity import Quantity, Reading, Unmeasured


def hysteresis(curve: StaticCurve) -> Reading:
    """Largest difference of the settled gain between falling and rising pass.

    The pair whose difference is surest is chosen, and its interval widened for having been chosen among many.
    A gain that moved between the passes cannot be told from a gain that depends on the direction.
    """
    unit, pairs = "dB", pairs_by_level(curve.points)
    if not any(p.direction == "falling" for p in curve.points):
        return Unmeasured(
            unit, "the level steps do not come down again", "a recipe whose level steps fall too"
        )
    if not pairs:
        return Unmeasured(
            unit, "no level had settled on the way up and on the way down", MORE_STEPS, cause="short-steps"
        )
    return surest_difference(
        [falling.gain_db - rising.gain_db for rising, falling in pairs],
        [
            math.hypot(rising.std_db, falling.std_db, FLOOR_DB, FLOOR_DB, curve.drift_std_db)
            for rising, falling in pairs
        ],
    )


def surest_difference(differences_db: Sequence[float], stds_db: Sequence[float]) -> Quantity:
    """Return the difference surest to be away from zero, with an interval that holds for all at once."""
    quantile = NormalDist().inv_cdf(1 - 0.025 / len(differences_db))
    sure = [abs(d) - quantile * s for d, s in zip(differences_db, stds_db, strict=True)]
    best = int(np.argmax(sure))
    value, reach = float(differences_db[best]), quantile * stds_db[best]
    return Quantity(value, value - reach, value + reach, "dB")
