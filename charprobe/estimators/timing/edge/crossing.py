"""Where a noisy gain trace crosses a level: local regression no wider than the noise needs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity

SHRINK = 0.72  # ratio of neighbouring window widths
ENOUGH = 8  # points from which the scatter about the fit may widen the interval
CLEAR = 8.0  # a window's slope must exceed this many of its standard uncertainties
SINGLE = 0.25  # standard uncertainty of a crossing from a single repetition, in carrier periods
UNSURE = 0.25  # standard uncertainty of the bias of the widest window, as a share of it
WORST = 1e12  # condition of a fit beyond which rounding governs it
NEAR = 1e-2  # of a window, to which its crossing lies in its middle
AGREE = 2.0  # windows agree while their estimates +- this many standard uncertainties overlap

_POWERS = range(5)  # of time, in the curve that the scatter is read about; a quadratic has the first three


@dataclass(frozen=True)
class Crossing:
    """Time in seconds at which a trace crosses a level, and the trace's slope there in dB/s."""

    time_s: float
    std_s: float
    slope_db_per_s: float

    def shifted(self, by_s: float, *, std_s: float) -> Crossing:
        """Return the crossing moved by a correction of the given standard uncertainty."""
        return Crossing(self.time_s + by_s, math.hypot(self.std_s, std_s), self.slope_db_per_s)


@dataclass(frozen=True)
class _Local:
    """Quadratic around a centre: coefficients in dB, dB/s, dB/s², and what tells their uncertainties.

    `stated` are those of value and slope by the points' own; `rows`, `weights` and `sums` tell their scatter.
    """

    value: float
    slope: float
    bend: float
    stated: tuple[float, float]
    rows: Array
    weights: Array
    sums: Array

    @cached_property
    def _scatter(self) -> float:
        return math.sqrt(_scatter(self.rows, self.weights, self.sums))

    @property
    def std(self) -> float:
        """Standard uncertainty of the value."""
        return self.stated[0] * self._scatter

    @property
    def slope_std(self) -> float:
        """Standard uncertainty of the slope."""
        return self.stated[1] * self._scatter


def smooth(trace: GainTrace, *, to_std_db: float) -> Array:
    """Return running means of a trace over as many points as bring their noise down to `to_std_db`.

    Never averages across the edge.
    """
    out = trace.gain_db.copy()
    for side in (trace.time_s < 0, trace.time_s >= 0):
        typical = float(np.median(trace.std_db[side]))
        half = min(int((typical / to_std_db) ** 2 / 2), np.count_nonzero(side) // 8)
        if half:
            total = np.concatenate([[0.0], np.cumsum(trace.gain_db[side])])
            index = np.arange(np.count_nonzero(side))
            reach = np.minimum(np.full(index.size, half), np.minimum(index, index[-1] - index))
            out[side] = (total[index + reach + 1] - total[index - reach]) / (2 * reach + 1)
    return out


def first_reached(gains: Array, weights: Array, level_db: float, *, rising: bool) -> int:
    """Return the first index at which the monotone sequence closest to a trace has reached a level.

    Its size where it never does. Of all places, the weighted distances from the level add up to least there.
    Weights, and gains in dB times weights, are given as their sums up to each point.
    """
    sums = gains - level_db * weights if rising else level_db * weights - gains
    least = int(np.argmin(sums))
    return least + 1 if sums[least] < 0 else 0


def refine(
    trace: GainTrace, level_db: float, *, near_s: float, reach_s: float, rising: bool
) -> Crossing | None:
    """Find the crossing of `level_db` near a first guess.

    Parameters
    ----------
    trace : GainTrace
        The edge.
    level_db : float
        Level to be crossed, in dB.
    near_s : float
        First guess, in seconds from the edge.
    reach_s : float > 0
        Largest half width of the window: within it the trace is smooth.
    rising : bool
        Whether the trace crosses the level upwards.

    Returns
    -------
    Crossing or None
        None if no window shows a slope.

    Notes
    -----
    A weighted quadratic is fitted in windows that grow from a few points. The widest window whose
    estimate still agrees with those of all narrower ones is taken, so that bias stays below noise
    (intersection of confidence intervals). A quadratic centred on the crossing has no bias from the third
    derivative.
    """
    least = 1.6 * trace.spacing_s
    widths = [max(reach_s, least)]
    while widths[-1] * SHRINK > least:
        widths.append(widths[-1] * SHRINK)
    chosen: Crossing | None = None
    start_s = near_s
    low, high, moved, moved_std = -math.inf, math.inf, 0.0, 0.0
    for width in reversed(widths):
        found = _in_window(trace, level_db, near_s, width)
        if found is None or (found.slope_db_per_s > 0) != rising:
            continue
        if abs(found.time_s - start_s) > 2 * widths[0]:
            continue
        low = max(low, found.time_s - AGREE * found.std_s)
        high = min(high, found.time_s + AGREE * found.std_s)
        if low > high:
            break
        if chosen is not None:
            moved = found.time_s - chosen.time_s
            moved_std = math.sqrt(max(0.0, chosen.std_s**2 - found.std_s**2))  # the wider holds the narrower
        chosen, near_s = found, found.time_s
    if chosen is None:
        return None
    # the last widening shows the curvature that no quadratic follows: its bias goes with the fourth power
    whole = 1 / (1 - SHRINK**4)
    std_s = whole * math.hypot(moved_std, UNSURE * moved)
    return _unaveraged(trace, chosen, widths[0]).shifted(-whole * moved, std_s=std_s)


def value_at(trace: GainTrace, time_s: float, *, reach_s: float) -> Quantity | None:
    """Return the gain in dB at one time, from a weighted quadratic over `reach_s` on both sides of it.

    Never fits across the edge; None if there are too few points.
    """
    local = _quadratic(trace, time_s, reach_s)
    return None if local is None else Quantity.from_std(local.value, local.std, "dB")


def _in_window(trace: GainTrace, level_db: float, near_s: float, width_s: float) -> Crossing | None:
    centre, local = near_s, _quadratic(trace, near_s, width_s)
    for _ in range(3):
        if local is None or local.slope == 0:
            return None
        move = (level_db - local.value) / local.slope
        square = 1 + 4 * local.bend * (level_db - local.value) / local.slope**2
        if square > 0:  # the root of the quadratic next to the linear one
            move *= 2 / (1 + math.sqrt(square))
        if abs(move) > width_s:
            return None
        centre += move
        if abs(move) < NEAR * width_s:
            break
        local = _quadratic(trace, centre, width_s)
    if local is None or abs(local.slope) < CLEAR * local.slope_std:
        return None
    return Crossing(centre, local.std / abs(local.slope), local.slope)


def _unaveraged(trace: GainTrace, found: Crossing, reach_s: float) -> Crossing:
    """Take off what the trace's own averaging added to the value where it bends.

    The bend is read over the widest window, since narrow ones see mostly noise in it.
    """
    wide = _quadratic(trace, found.time_s, reach_s)
    lag = 0.0 if wide is None else trace.window_at(found.time_s) ** 2 / 12 * wide.bend / found.slope_db_per_s
    # a single repetition leaves ripple of the carrier inside its window on top
    ripple = SINGLE * trace.window_s if trace.repeats == 1 else 0.0
    return found.shifted(lag, std_s=math.hypot(0.3 * lag, ripple))


def _quadratic(trace: GainTrace, centre_s: float, width_s: float) -> _Local | None:
    first, last = trace.time_s.searchsorted((centre_s - width_s, centre_s + width_s))
    if (centre_s - width_s) < 0 <= centre_s:  # the edge itself is a kink: never fit across it
        first = trace.time_s.searchsorted(0.0)
    if last - first < 3:
        first, last = max(0, first - 1), min(trace.time_s.size, last + 1)
    if last - first < 3:
        return None
    part = slice(first, last)
    rows = np.empty((len(_POWERS) + 1, last - first))  # powers of x, and the gain
    x, rows[0], rows[-1] = (trace.time_s[part] - centre_s) / width_s, 1.0, trace.gain_db[part]
    for power in _POWERS[1:]:
        np.multiply(rows[power - 1], x, out=rows[power])
    weights = trace.weights[part]
    sums = (rows[:-1] * weights) @ rows.T
    covariance = _inverse(sums[:3, :3].tolist())
    if covariance is None:
        return None
    p, q, r = sums[:3, -1].tolist()
    value, slope, bend = (a * p + b * q + c * r for a, b, c in covariance)
    stated = math.sqrt(covariance[0][0]), math.sqrt(covariance[1][1]) / width_s
    return _Local(value, slope / width_s, bend / width_s**2, stated, rows, weights, sums)


def _inverse(m: list[list[float]]) -> list[list[float]] | None:
    """Inverse of a symmetric matrix of three rows by its cofactors; None where rounding would govern it."""
    (a, b, c), (_, d, e), (_, _, f) = m
    first, second, third = d * f - e * e, c * e - b * f, b * e - c * d
    determinant = a * first + b * second + c * third
    across = b * c - a * e
    rows = [[first, second, third], [second, a * f - c * c, across], [third, across, a * d - b * b]]
    if determinant <= math.hypot(*m[0], *m[1], *m[2]) * math.hypot(*rows[0], *rows[1], *rows[2]) / WORST:
        return None
    return [[x / determinant for x in row] for row in rows]


def _scatter(rows: Array, weights: Array, sums: Array) -> float:
    """Variance of the points over the stated one, at least 1, about a curve that bends more than a quadratic.

    What a quadratic misses of a smooth curve is no scatter: it shows as windows that disagree.
    """
    if weights.size < ENOUGH + len(_POWERS):
        return 1.0
    fitted = np.linalg.solve(sums[:, :-1], sums[:, -1])
    misfit = rows[-1] - fitted @ rows[:-1]
    return max(1.0, float(weights @ (misfit * misfit)) / (weights.size - len(_POWERS)))
