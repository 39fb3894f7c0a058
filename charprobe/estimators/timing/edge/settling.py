"""The gain before an edge and the gain it settles to after it, from records that may be short."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from charprobe.estimators.timing.edge.tail import SIGNIFICANT, fit_tail, unrest
from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.estimators.timing.trace.look_ahead import GUARD, LAST
from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity

TAILS = 0.25, 0.55  # shares of the record after which its movement is taken as one exponential tail
FEWEST = 12  # points that a tail is fitted to
APART = 3.0  # standard uncertainties by which asymptotes of both tails may differ
WORST = 0.05  # largest standard uncertainty of an asymptote, as a share of the change
KEPT = 64  # edges whose gains are remembered: times, definitions and details of one edge ask for the same
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
    """Weighted straight line: value and slope at the axis origin, with standard uncertainties.

    `unrest` is the scatter of the points about it beyond their noise: beats of carrier and detector, wobble.
    """

    value: float
    slope: float
    value_std: float
    slope_std: float
    unrest: float


@lru_cache(maxsize=KEPT)
def gain_before(trace: GainTrace) -> Settled:
    """Return the gain just before the edge; a significant trend before it is carried on to the edge.

    The last 15 % of the record before the edge are left to look-ahead.
    """
    early = trace.time_s < GUARD * trace.time_s[0]
    t, g, s = trace.time_s[early], trace.gain_db[early], trace.std_db[early]
    line = _line(t - float(np.average(t, weights=s**-2)), g, s)
    value, std, scatter, left = line.value, line.value_std, line.unrest, 0.0
    if abs(line.slope) > SIGNIFICANT * line.slope_std:
        tail, late = fit_tail(t, g, s, at_s=0.0), t > t[0] / 2
        value, std, scatter, left = tail.at_db, tail.at_std_db, tail.unrest, tail.at_db - tail.rest_db
        if np.count_nonzero(late) >= FEWEST:  # a movement of another law shows nearer to the edge
            near = fit_tail(t[late], g[late], s[late], at_s=0.0)
            apart = abs(near.at_db - value)
            if apart > APART * std:
                std = math.hypot(std, apart)
    return Settled(value, math.hypot(std, scatter, trace.before_std_db), left, True)


@lru_cache(maxsize=KEPT)
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
    If the last 30 % of the record show no trend, their mean is the settled gain. Otherwise one law, an
    exponential or nearly so, is fitted to the last 75 % and to the last 45 %, and its asymptote, with the
    spread that the data allow it, is the settled gain, provided at most 35 % of the change are left at the
    end of the record and the asymptote's standard uncertainty is below 5 % of the change.
    """
    end = float(trace.time_s[-1])
    last = trace.time_s > (1 - LAST) * end
    t, g, s = trace.time_s[last], trace.gain_db[last], trace.std_db[last]
    line = _line(t - float(np.average(t, weights=s**-2)), g, s)
    if abs(line.slope) <= SIGNIFICANT * line.slope_std:
        std = math.hypot(line.value_std, line.unrest, trace.after_std_db)
        return Settled(line.value, std, 0.0, True)
    tails = [trace.time_s > share * end for share in TAILS]
    early, late = (fit_tail(trace.time_s[i], trace.gain_db[i], trace.std_db[i], at_s=end) for i in tails)
    # a slower stage shows as a difference between the two: the later one is then closer to the truth
    apart = abs(early.rest_db - late.rest_db)
    unlike = apart > APART * early.rest_std_db
    fitted = late if unlike or late.rest_std_db < early.rest_std_db else early
    change, left = abs(fitted.rest_db - before_db), fitted.at_db - fitted.rest_db
    more = math.hypot(fitted.unrest, trace.after_std_db, apart if unlike else 0.0)
    fitted = replace(fitted, rest_std_db=math.hypot(fitted.rest_std_db, more))
    if abs(left) < MOST_LEFT * change and fitted.rest_std_db < WORST * change:
        return Settled(fitted.rest_db, fitted.rest_std_db, left, True)
    return Settled(fitted.at_db, fitted.at_std_db, left, False)


def _line(t: Array, g: Array, s: Array) -> _Line:
    weights = s**-2
    basis = np.stack([np.ones_like(t), t])
    covariance = np.linalg.inv((basis * weights) @ basis.T)
    value, slope = covariance @ ((basis * weights) @ g)
    chi = float(np.sum(weights * (g - value - slope * t) ** 2)) / max(1, t.size - 2)
    spread = np.sqrt(np.diag(covariance) * max(1.0, chi))
    return _Line(float(value), float(slope), float(spread[0]), float(spread[1]), unrest(chi, s))
