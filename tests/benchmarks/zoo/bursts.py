"""A low-high-low burst and the times of its gain, a mean over the carrier phases in which it is played.

The gain at a sample is the sum over the phases of x² times the factor of the gain cell over the sum of x²; where a stage
has colour or filters, so that no one factor is its gain, x y stands for x² g, which is the same where it has none, and means
over carrier periods, as in the definition, take out what filters ring. Times count from the edge
at the output of a path with the stage's latency; shares are of the change in dB, passed for good: what filters ring after
an edge is no gain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.interpolate import CubicSpline

from tests.benchmarks.zoo.stage import Array, Stage

SHARES = {"delay": 0.05, "t50": 0.5, "t63": 1 - np.exp(-1), "t90": 0.9}
MARGINS = {"within_2db": 2.0, "within_3db": 3.0, "within_4db": 4.0}
RINGING = 24  # samples before an edge into which filters of a stage may ring
BEFORE = 120  # samples before an edge from which a gain that still moves is carried on to it
LEAST_CHANGE_DB = 0.3  # below this a change has no times worth the name


@dataclass(frozen=True)
class Burst:
    """One condition: levels, carrier and lengths in s."""

    low_dbfs: float
    high_dbfs: float
    carrier_hz: float
    lead_s: float
    hold_s: float
    release_s: float


@dataclass(frozen=True)
class Edge:
    """Times in s by name (a missing one: no such crossing), the change in dB and what lies beyond the end."""

    times: dict[str, float]
    change_db: float
    overshoot_db: float


@dataclass(frozen=True)
class BurstTruth:
    """Attack towards the settled gain, attack towards what the hold reaches, release from there.

    `turned` is the same of the whole amplitude, where the phase moves with the gain.
    """

    settled: Edge
    played: Edge
    release: Edge
    turned: BurstTruth | None = None


def times_of(stage: Stage, burst: Burst, calm: Array, real: Array, rate_hz: int) -> BurstTruth:
    """Read both edges off the gain with a hold in which all settles, and with its own."""
    late = round(stage.late_s * rate_hz)
    early = late if stage.ahead_s is None else round(stage.ahead_s * rate_hz)
    edge = round(burst.lead_s * rate_hz) + late
    fall = edge + round(burst.hold_s * rate_hz)
    attack = calm[: calm.size - round(0.05 * rate_hz) - RINGING]
    played = attack[: fall - early]
    return BurstTruth(
        timed(attack, edge, early, end_of(attack, edge), rate_hz),
        timed(played, edge, early, end_of(played, edge), rate_hz),
        timed(real, fall, early, end_of(real, fall), rate_hz),
    )


def over_periods(gain: Array, edges: Sequence[int], period: float) -> Array:
    """Means over carrier periods, from one after an edge on, never across one: nothing is left that turns with the carrier.

    The mean is taken from twice the mean: what moves smoothly stays.
    """
    out = gain.copy()
    for first, stop in pairwise(edges):
        at = np.arange(stop - first, dtype=float)
        by = np.clip(np.minimum(at - period, at[::-1]), 1e-3, period / 2)
        met = [gain[first:stop]]
        for _ in range(2):
            total = CubicSpline(at, met[-1]).antiderivative()
            met.append((total(at + by) - total(at - by)) / (2 * by))
        out[first:stop] = 2 * met[1] - met[2]
    return out


def end_of(gain_db: Array, edge: int) -> float:
    """Mean over the last fiftieth after an edge."""
    return float(gain_db[-max(1, (gain_db.size - edge) // 50) :].mean())


def timed(gain_db: Array, edge: int, early: int, end_db: float, rate_hz: int) -> Edge:
    """Times of the change around an edge; the gain may move `early` samples before it."""
    first = edge - early
    start_db = _carried_on(gain_db[first - BEFORE : first - RINGING])
    change = end_db - start_db
    trace = gain_db[first - 1 :]
    sign = 1.0 if change >= 0 else -1.0
    times: dict[str, float] = {}
    if abs(change) >= LEAST_CHANGE_DB:
        for name, share in SHARES.items():
            line = start_db + share * change
            short = np.flatnonzero(sign * (trace - line) < 0)
            if short.size and short[-1] + 1 < trace.size:
                times[name] = (_crossing(trace, int(short[-1]) + 1, line) - 1 - early) / rate_hz
        for name, margin in MARGINS.items():
            outside = np.flatnonzero(np.abs(trace - end_db) > margin)
            if outside.size and outside[-1] + 1 < trace.size:
                line = end_db + np.copysign(margin, trace[outside[-1]] - end_db)
                times[name] = (_crossing(trace, int(outside[-1]) + 1, line) - 1 - early) / rate_hz
    return Edge(times, change, float(max(0.0, (sign * (trace[early + 1 :] - end_db)).max())))


def _carried_on(gain_db: Array) -> float:
    """Gain `RINGING` samples after a stretch, where a gain that still moves goes on as a parabola.

    A straight line falls short: of an attack with 6 ms by a tenth of what is left to go.
    """
    *_, value = np.polyfit(np.arange(gain_db.size) - (RINGING + gain_db.size), gain_db, 2)
    return float(value)


def _crossing(trace: Array, at: int, line: float) -> float:
    if at == 0 or trace[at] == trace[at - 1]:
        return float(at)
    return float(at - 1 + (line - trace[at - 1]) / (trace[at] - trace[at - 1]))
