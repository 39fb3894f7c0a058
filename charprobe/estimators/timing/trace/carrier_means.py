"""Means of a gain trace over carrier periods, which leave nothing of what turns with the carrier."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from charprobe.values.arrays import Array, Index

CALM_PERIODS = 8  # carrier periods after an edge from which points are means over whole periods


def half_period_means(rows: Array, split: int, *, near: slice, period: float) -> Array:
    """Average columns half a carrier period apart about those `near`, never across the edge before `split`.

    What turns with the carrier cancels: even-order products, and a thump.
    """
    out, columns = rows[:, near].copy(), np.arange(rows.shape[1])
    for side, last in ((slice(0, split), split - 1), (slice(split, None), split)):
        own = columns[side]
        at = own[(own >= near.start) & (own < near.stop)]
        by = np.minimum(period / 4, np.abs(at - last))
        for row, means in zip(rows, out, strict=True):
            early, late = (np.interp(at + sign * by, own, row[side]) for sign in (-1, 1))
            means[at - near.start] = (early + late) / 2
    return out


def reach_of(period: float) -> int:
    """Points on either side that a calm one is made from."""
    return 2 * (math.floor(period / 2) + 1)


def calmed(rows: Array, *, period: float) -> Array:
    """Average rows over carrier periods, without bending what moves smoothly.

    What turns with the carrier or any multiple of it is gone: the rest of a thump, and the ripple that a
    detector makes of the carrier. The mean over a period, taken twice from twice the mean, keeps everything
    up to a cubic as it is. As many points as `reach_of` tells are missing at either end.
    """
    once, inside = _period_mean(rows, period), reach_of(period) // 2
    return np.asarray(2 * once[:, inside:-inside] - _period_mean(once, period))


def calm_sums(rows: Array, borders: Index, *, period: float) -> Array:
    """Sum what `calmed` would give between borders that lie inside its reach, without a mean at each point.

    A sum of means is one of the points themselves but beside its borders, where a tapered share counts.
    """
    if borders.size < 2:
        return np.empty((rows.shape[0], 0))
    reach, share = reach_of(period), _beside_border(period)
    around = np.lib.stride_tricks.sliding_window_view(rows, 2 * reach, axis=1)
    more = around[:, borders - reach] @ share
    sums = np.add.reduceat(rows[:, : borders[-1]], borders[:-1], axis=1)
    return np.asarray(sums + more[:, :-1] - more[:, 1:])


@lru_cache(maxsize=16)
def _beside_border(period: float) -> Array:
    """What each point beside a border counts for in sums of calm points from it on, less in those of points.

    Not to be changed.
    """
    reach = reach_of(period)
    step = (np.arange(-2 * reach, 2 * reach) >= 0).astype(float)
    return np.asarray(calmed(step[None], period=period)[0] - step[reach:-reach])


def _period_mean(rows: Array, period: float) -> Array:
    """Mean of each row over one period about each point, of the line through them, where points suffice."""
    whole = math.floor(period / 2)
    part, count = period / 2 - whole, rows.shape[1] - 2 * whole - 2
    total = np.cumsum(rows, axis=1)

    def around(values: Array, by: int) -> Array:
        """Values so many points from each one."""
        return values[:, whole + 1 + by : whole + 1 + by + count]

    sums = around(total, whole) - around(total, -whole - 1)  # of the points wholly inside
    sums += part**2 / 2 * (around(rows, whole + 1) + around(rows, -whole - 1))
    sums -= (1 - part) ** 2 / 2 * (around(rows, whole) + around(rows, -whole))
    return np.asarray(sums / period)
