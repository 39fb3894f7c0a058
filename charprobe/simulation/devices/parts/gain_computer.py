"""Gain computers: reduction in dB as a function of level, as a sum of bends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from charprobe.values.arrays import Array


@dataclass(frozen=True)
class Bend:
    """One bend of a static curve: the reduction it adds on one side of its threshold.

    With o = level - threshold (or its negative for `side` "below") the reduction is

        slope * (q**2 / (2 knee) + max(0, o - knee / 2)),   q = clip(o + knee / 2, 0, knee)

    limited to `most_db` in size.

    Attributes
    ----------
    threshold_dbfs : float
        Where the two straight lines meet.
    slope : float
        dB of reduction per dB beyond the threshold: 1 - 1/ratio above it for a compressor, 1 for a limiter,
        more than 1 for over-compression; ratio - 1 below it for an expander; negative below it lifts
        quiet sound (upward compression).
    knee_db : float >= 0
        Width of the quadratic knee, 0 for a hard one.
    side : {"above", "below"}
        Where the bend acts.
    most_db : float > 0
        Largest size of its reduction: the range of an expander or gate.
    """

    threshold_dbfs: float
    slope: float
    knee_db: float = 0.0
    side: Literal["above", "below"] = "above"
    most_db: float = math.inf

    def __post_init__(self) -> None:
        if self.knee_db < 0 or self.most_db <= 0:
            raise ValueError(f"knee_db must be >= 0 and most_db > 0, found {self.knee_db} and {self.most_db}")

    def reduction_db(self, level_dbfs: Array) -> Array:
        """Reduction this bend adds, shape of `level_dbfs`; negative is added gain."""
        over = level_dbfs - self.threshold_dbfs if self.side == "above" else self.threshold_dbfs - level_dbfs
        if self.knee_db > 0:
            inside = np.clip(over + self.knee_db / 2, 0, self.knee_db)
            amount = inside**2 / (2 * self.knee_db) + np.maximum(0, over - self.knee_db / 2)
        else:
            amount = np.maximum(0, over)
        return np.asarray(np.clip(self.slope * amount, -self.most_db, self.most_db))


Bends = tuple[Bend, ...]


def slope_of(ratio: float) -> float:
    """Dimensionless S = 1 - 1/ratio; `ratio` inf is a limiter, a negative one over-compresses."""
    if 0 <= ratio < 1:
        raise ValueError(f"ratio must be >= 1, or negative for over-compression, found {ratio}")
    return 1 - 1 / ratio


def reduction_db(bends: Sequence[Bend], level_dbfs: Array) -> Array:
    """Sum of the reductions of all bends, shape of `level_dbfs`."""
    total = np.zeros_like(np.asarray(level_dbfs, dtype=float))
    for bend in bends:
        total = total + bend.reduction_db(level_dbfs)
    return total


def threshold_1db_dbfs(bend: Bend) -> float:
    """Level at which a bend above its threshold has taken 1 dB; the slope must be positive."""
    inside = -bend.knee_db / 2 + math.sqrt(2 * bend.knee_db / bend.slope)
    if bend.knee_db > 0 and inside <= bend.knee_db / 2:
        return bend.threshold_dbfs + inside
    return bend.threshold_dbfs + 1 / bend.slope
