"""The gain before an edge and the gain it settles to after it, from records that may be short."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.cut import Array
from charprobe.estimators.gain_trace import GainTrace
from charprobe.quantity import Quantity

GUARD = 0.15  # share of the record before the edge that is left to look-ahead
LAST = 0.3  # share of the record after the edge that must be flat
TAIL = 0.25  # share of the record after which its movement is taken as one exponential tail
SIGNIFICANT = 4.0  # chi-square-wise ratio of trend to its standard uncertainty
MOST_LEFT = 0.35  # share of the change that may be left when the record ends


@dataclass(frozen=True)
class Settled:
    """Gain at rest: before or after an edge.

    Attributes
    ----------
    value_db, std_db : float
        Gain, and its standard uncertainty.
    left_db : float
        Movement still to come when the record ends; 0 where none shows.
    known : bool
        False if the record ends too early to vouch for the value; it is then the last gain seen.
    """

    value_db: float
    std_db: float
    left_db: float
    known: bool

    @property
    def quantity(self) -> Quantity:
        """The gain with its interval."""
        return Quantity.from_std(self.value_db, self.std_db, "dB")


@dataclass(frozen=True)
class _Line:
    """Weighted straight line: value and slope at the axis origin, with standard uncertainties."""

    value: float
    slope: float
    value_std: float
    slope_std: float


def gain_before(trace: GainTrace) -> Settled:
    """Return the gain just before the edge; a significant trend of the lead is carried on to the edge."""
    early = trace.time_s < GUARD * trace.time_s[0]
    t, g, s = trace.time_s[early], trace.gain_db[early], trace.std_db[early]
    middle = float(np.average(t, weights=s**-2))
    line = _line(t - middle, g, s)
    if abs(line.slope) > SIGNIFICANT * line.slope_std:
        ahead = -middle
        return Settled(
            line.value + line.slope * ahead, float(np.hypot(line.value_std, line.slope_std * ahead)), 0.0, True
        )
    return Settled(line.value, line.value_std, 0.0, True)


def gain_after(trace: GainTrace, *, before_db: float) -> Settled:
    """Return the gain the trace settles to after its edge.

    Parameters
    ----------
    trace : GainTrace
        The edge.
    before_db : float
        Gain before the edge, in dB.

    Notes
    -----
    If the last 30 % of the record show no trend, their mean is the settled gain. Otherwise one
    exponential is fitted to the last 75 %, and its asymptote, with the spread that the data
    allow it, is the settled gain, provided at most 35 % of the change are left at the end of the record
    and the asymptote is known to better than 5 % of the change.
    """
    end = float(trace.time_s[-1])
    last = trace.time_s > (1 - LAST) * end
    t, g, s = trace.time_s[last], trace.gain_db[last], trace.std_db[last]
    line = _line(t - float(np.average(t, weights=s**-2)), g, s)
    if abs(line.slope) <= SIGNIFICANT * line.slope_std:
        return Settled(line.value, line.value_std, 0.0, True)
    tail = trace.time_s > TAIL * end
    asymptote, std, left = _asymptote(trace.time_s[tail], trace.gain_db[tail], trace.std_db[tail])
    change = abs(asymptote - before_db)
    seen = float(np.average(g[-8:], weights=s[-8:] ** -2))
    known = abs(left) < MOST_LEFT * change and std < 0.05 * change
    return Settled(asymptote if known else seen, std, left, known)


def _line(t: Array, g: Array, s: Array) -> _Line:
    weights = s**-2
    basis = np.stack([np.ones_like(t), t])
    covariance = np.linalg.inv((basis * weights) @ basis.T)
    value, slope = covariance @ ((basis * weights) @ g)
    chi = float(np.sum(weights * (g - value - slope * t) ** 2)) / max(1, t.size - 2)
    spread = np.sqrt(np.diag(covariance) * max(1.0, chi))
    return _Line(float(value), float(slope), float(spread[0]), float(spread[1]))


def _asymptote(t: Array, g: Array, s: Array) -> tuple[float, float, float]:
    """Fit ``a + b exp(-t / tau)``; return ``a``, its standard uncertainty, and what is left at the end."""
    span, end = float(t[-1] - t[0]), float(t[-1])
    weights = s**-2
    taus = span * np.geomspace(0.05, 4.0, 160)
    values, spreads, lefts, costs = (np.empty(taus.size) for _ in range(4))
    for i, tau in enumerate(taus):
        basis = np.stack([np.ones_like(t), np.exp((end - t) / tau)])
        covariance = np.linalg.inv((basis * weights) @ basis.T)
        fitted = covariance @ ((basis * weights) @ g)
        costs[i] = float(np.sum(weights * (g - fitted @ basis) ** 2))
        values[i], lefts[i], spreads[i] = fitted[0], fitted[1], covariance[0, 0]
    best = int(np.argmin(costs))
    scale = max(1.0, costs[best] / max(1, t.size - 3))
    fits = costs <= costs[best] + scale
    near = slice(max(0, best - 1), best + 2)
    step = float(np.ptp(values[near])) / 4  # the grid of time constants is no finer than this
    reach = float(np.ptp(values[fits])) / 2
    return float(values[best]), float(np.sqrt(spreads[best] * scale + max(reach, step) ** 2)), float(lefts[best])
