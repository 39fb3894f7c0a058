"""Means of a gain trace over carrier periods, which leave nothing of what turns with the carrier."""

from __future__ import annotations

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
    grid, out = rows[0], rows.copy()
    calm = (grid >= CALM_PERIODS * period) | (grid <= -max(ahead, CALM_PERIODS * period))
    for side in (grid < 0, grid >= 0):
        for i in (1, 2, -1):
            once = _period_mean(rows[i, side], period)
            out[i, side & calm] = (2 * once - _period_mean(once, period))[calm[side]]
    return out[:, (grid >= grid[0] + period) & (grid <= grid[-1] - period)]


def _period_mean(values: Array, period: float) -> Array:
    """Mean over one carrier period about each point, of the line through the points; ends are not right."""
    total = np.concatenate([[0.0], np.cumsum((values[1:] + values[:-1]) / 2)])
    at = np.arange(values.size, dtype=float)
    upper, lower = (_integral_at(values, total, at + sign * period / 2) for sign in (1, -1))
    return np.asarray((upper - lower) / period)


def _integral_at(values: Array, total: Array, at: Array) -> Array:
    """Integral of the line through the points up to fractional places."""
    first = np.clip(np.floor(at).astype(np.int64), 0, values.size - 2)
    part = at - first
    return np.asarray(total[first] + part * values[first] + part**2 / 2 * (values[first + 1] - values[first]))
