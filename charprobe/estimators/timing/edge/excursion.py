"""What a gain does between two rests that are alike: stages that answer a change of level, not the level."""

from __future__ import annotations

import numpy as np

from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.values.quantity import DETECTED

LASTING_S = 0.004  # filters that ring at an edge have come to rest sooner
OUT_DB = 0.3


def excursion_db(trace: GainTrace, rest_db: float) -> float:
    """How far the gain goes out from a rest after the edge, before it comes back; dB, signed.

    Parameters
    ----------
    trace : GainTrace
        Around the edge.
    rest_db : float
        Gain that it comes back to.

    Returns
    -------
    float
        Largest mean over `LASTING_S` in which it stays out on one side; 0 where it stays within `OUT_DB` and
        what noise makes. What a filter rings with behind a loud burst is large beside the quiet that
        follows, but swings to and fro, or is over sooner.
    """
    after = trace.time_s >= 0
    time_s, out_db, std_db = trace.time_s[after], trace.gain_db[after] - rest_db, trace.std_db[after]
    if time_s.size < 2 or time_s[-1] - time_s[0] <= LASTING_S:
        return 0.0
    steps = np.diff(time_s)
    sums = [
        np.concatenate([[0.0], np.cumsum((values[1:] + values[:-1]) / 2 * steps)])
        for values in (out_db, std_db)
    ]
    starts = time_s[time_s <= time_s[-1] - LASTING_S]
    mean_db, unsure_db = (
        (np.interp(starts + LASTING_S, time_s, total) - np.interp(starts, time_s, total)) / LASTING_S
        for total in sums
    )
    side = np.sign(out_db) * (np.abs(out_db) > OUT_DB / 2)
    turns = np.append(time_s[np.flatnonzero(np.diff(side)) + 1], np.inf)  # when it changes sides, or is back
    lasts = turns[np.searchsorted(turns, starts, side="right")] >= starts + LASTING_S
    told = lasts & (np.abs(mean_db) > OUT_DB + DETECTED * unsure_db)
    return float(max(mean_db[told], key=abs, default=0.0))
