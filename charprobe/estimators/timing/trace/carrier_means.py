"""Means of a gain trace over carrier periods, which leave nothing of what turns with the carrier."""

from __future__ import annotations

import math

import numpy as np

from charprobe.values.arrays import Array, Flags

CALM_PERIODS = 8  # carrier periods after an edge from which points are means over whole periods


def half_period_means(rows: Array, *, period: float, where: Flags) -> Array:
    """Average columns half a carrier period apart at the places `where` says, never across the edge.

    The first row is the grid. What turns with the carrier cancels: even-order products, and a thump.
    """
    grid, out = rows[0], rows.copy()
    for side in (grid < 0, grid >= 0):
        own, means = grid[side], np.flatnonzero(side & where)
        by = np.minimum(period / 4, np.abs(grid[means] - (own[-1] if own[0] < 0 else own[0])))
        for i in range(1, rows.shape[0]):
            early, late = (np.interp(grid[means] + sign * by, own, rows[i, side]) for sign in (-1, 1))
            out[i, means] = (early + late) / 2
    return out


def calmed(rows: Array, *, period: float, ahead: float) -> Array:
    """Average times and gains of calm points over carrier periods, without bending what moves smoothly.

    Rows are the grid, time and gain first, and the gain's quadrature part last. Points are calm from
    `CALM_PERIODS` after the edge, and more than `ahead` samples before it. What turns
    with the carrier or any multiple of it is gone: the rest of a thump, and the ripple that a detector makes
    of the carrier. The mean over a period, taken twice from twice the mean, keeps everything up to a cubic
    as it is. Points less than a period from the ends of the grid are left out.
    """
    grid, out, moved = rows[0], rows.copy(), [1, 2, -1]
    edge = int(np.searchsorted(grid, 0.0))
    until = int(np.searchsorted(grid, -max(ahead, CALM_PERIODS * period), side="right"))
    since = int(np.searchsorted(grid, CALM_PERIODS * period))
    for side, calm in ((slice(0, edge), slice(0, until)), (slice(edge, None), slice(since, None))):
        once = _period_mean(rows[moved, side], period)
        means = 2 * once - _period_mean(once, period)
        out[moved, calm] = means[:, calm] if side.start == 0 else means[:, since - edge :]
    inside = grid.searchsorted(grid[0] + period), grid.searchsorted(grid[-1] - period, side="right")
    return out[:, slice(*inside)]


def _period_mean(rows: Array, period: float) -> Array:
    """Mean of each row over one period about each point, of the line through them; ends are not right."""
    whole = math.floor(period / 2)
    part, reach = period / 2 - whole, whole + 2
    return _mean_of_line(rows, whole, part, reach) / period


def _mean_of_line(rows: Array, whole: int, part: float, reach: int) -> Array:
    """Integral of the lines through points over `whole` points and a part of one on either side of each."""
    ahead, behind = np.arange(-reach, 0), np.arange(1, reach + 1)
    first, second, last_but_one, last = (rows[:, at, None] for at in (0, 1, -2, -1))
    line = np.concatenate(
        [first + ahead * (second - first), rows, last + behind * (last - last_but_one)], axis=1
    )
    total = np.cumsum(line, axis=1)

    def around(values: Array, by: int) -> Array:
        """Values so many points from each one."""
        return values[:, reach + by : reach + by + rows.shape[1]]

    sums = around(total, whole) - around(total, -whole - 1)  # of the points wholly inside
    sums += part**2 / 2 * (around(line, whole + 1) + around(line, -whole - 1))
    sums -= (1 - part) ** 2 / 2 * (around(line, whole) + around(line, -whole))
    return np.asarray(sums)
