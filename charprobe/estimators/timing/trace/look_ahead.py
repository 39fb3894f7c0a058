"""How long before an edge the gain begins to move: so long before the next edge a record has to end."""

from __future__ import annotations

import numpy as np

from charprobe.values.arrays import Array

GUARD = 0.15  # share of the record before an edge that is left to what looks ahead
LAST = 0.3  # share of the record after it that shows where the gain goes
SHARE, SURE = 0.02, 5.0  # of the change, and standard uncertainties, by which a gain must have moved
LEAST_S = 1e-3  # filters ring before an edge for less
ROOM = 1.25  # times what shows, for how it begins


def looks_ahead_s(time_s: Array, gain_db: Array, std_db: Array) -> float:
    """Return how long before an edge at 0 s the gain moves, in s, with some room; 0 where it waits for it.

    Parameters
    ----------
    time_s, gain_db, std_db : ndarray, shape (n,)
        A gain trace, with times on both sides of 0 in ascending order.
    """
    far = gain_db[time_s < GUARD * time_s[0]]
    rest_db = float(np.median(far))
    change_db = float(np.median(gain_db[time_s > (1 - LAST) * time_s[-1]])) - rest_db
    before = time_s < 0
    least_db = max(SHARE * abs(change_db), SURE * float(np.median(std_db[before])))
    early, late = np.array_split(far, 2)
    if abs(float(early.mean() - late.mean())) > least_db:
        return 0.0  # it moves on from the edge before
    waits = np.abs(gain_db - rest_db)[before] < least_db
    ahead_s = -float(time_s[before][waits][-1]) if waits.any() else 0.0
    return ROOM * ahead_s if ahead_s > LEAST_S else 0.0
