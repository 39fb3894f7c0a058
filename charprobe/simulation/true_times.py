"""True attack and release times of a stage, read from its own gain trace instead of from sound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.values.arrays import Array

CALM_PERIODS = 8  # carrier periods after an edge from which gain means the mean over a carrier period
BEFORE = 8  # samples averaged for the gain at an edge


@dataclass(frozen=True)
class TrueTimes:
    """Times from one edge of a burst to shares of the gain change, and to margins around its end.

    ``t..`` run from the first sample at the new level until that share of the change in dB has passed, and
    may be negative with look-ahead; ``within..`` to the last time the gain is farther than this from where it
    settles. A time is inf where the trace ends first. `change_db` goes from the edge (less the look-ahead) to
    the end of the stretch after it; times of a change below about 0.1 dB mean nothing.
    """

    t50_s: float
    t63_s: float
    t90_s: float
    within_2db_s: float
    within_3db_s: float
    within_4db_s: float
    change_db: float


def over_periods(gain_db: Array, *, edge: int, stop: int, period: float) -> Array:
    """Average a trace over a carrier period about each sample from eight periods after an edge on.

    What a detector makes of the carrier, and the beats of bursts that start from different gains, are not
    what times are read from. `edge` is the first sample after the edge, `stop` where the stretch ends.
    """
    out, index = gain_db.copy(), np.arange(gain_db.size)
    total = np.concatenate([[0.0], np.cumsum((gain_db[1:] + gain_db[:-1]) / 2)])
    at = np.arange(edge + int(np.ceil(CALM_PERIODS * period)), stop - int(np.ceil(period / 2)))
    upper, lower = (np.interp(at + sign * period / 2, index, total) for sign in (1, -1))
    out[at] = (upper - lower) / period
    return out


def time_edge(gain_db: Array, *, edge: int, early: int, end_db: float, rate_hz: float) -> TrueTimes:
    """Time the change of a gain trace, which ends at the next edge, around an edge.

    `edge` is the first sample at the new level, `early` how many samples before it the gain may begin to
    move: the trace holds some more than that. The gain settles at `end_db`.
    """
    first = edge - early
    start_db = float(np.mean(gain_db[first - BEFORE : first]))
    trace = gain_db[first - 1 :]
    time_s = (np.arange(trace.size) - 1 - early) / rate_hz
    change_db = end_db - start_db

    def passed(share: float) -> float:
        level = start_db + share * change_db
        beyond = np.flatnonzero((trace - level) * np.sign(change_db) >= 0)
        return _cross(trace, time_s, level, int(beyond[0])) if beyond.size else np.inf

    def within(margin_db: float) -> float:
        outside = np.flatnonzero(np.abs(trace - end_db) > margin_db)
        if outside.size == 0:
            return 0.0
        level = end_db + np.copysign(margin_db, trace[outside[-1]] - end_db)
        return _cross(trace, time_s, float(level), int(outside[-1]) + 1)

    shares = (passed(0.5), passed(1 - np.exp(-1)), passed(0.9))
    return TrueTimes(*shares, within(2), within(3), within(4), change_db)


def _cross(trace: Array, time_s: Array, level: float, at: int) -> float:
    """Time at which the trace crosses `level` between samples ``at - 1`` and `at`."""
    if at == trace.size:
        return np.inf
    if at == 0:
        return float(time_s[0])
    part = (level - trace[at - 1]) / (trace[at] - trace[at - 1])
    return float(time_s[at - 1] + part * (time_s[at] - time_s[at - 1]))
