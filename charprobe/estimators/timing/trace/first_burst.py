"""The first burst of a set, which alone comes after a long rest, beside the others."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from charprobe.estimators.timing.trace.scatter import Scatter
from charprobe.values.arrays import Array
from charprobe.values.edge import Edge
from charprobe.values.natural_spline import natural_spline

APART = 3.0  # times what the others differ by among each other that the first must differ from them
CLEAR = 25.0  # and times what noise would make it differ by, in squares
LEAST_WINDOWS = 5  # after an edge, that show the course of what is lacking
FEWEST = 4  # repetitions from which three that agree tell of another
COMES_DB, COMES = 0.02, 3.0  # so far, and so many times farther than others, a first that counts less moves
UNSURE = 0.1  # standard uncertainty of what the others lack, as a share of it
UNSURE_ALONE = 1.0  # the same where each burst follows from the one before: so may the first


@dataclass(frozen=True)
class FirstBurst:
    """What the common gain of a set lacks of the gain that a burst from rest has.

    Attributes
    ----------
    alone : bool
        Whether no other burst is like it, nor is any like the next: each follows from the one before.
    before_s, before_db : ndarray, shape (n,)
        Middles of windows before the edge, ascending, and what is lacking there.
    time_s, lacks_db : ndarray, shape (m,)
        The same after the edge.
    noise_db : ndarray, shape (m,)
        Standard uncertainty of the latter from noise.
    """

    alone: bool
    before_s: Array
    before_db: Array
    time_s: Array
    lacks_db: Array
    noise_db: Array

    def at(self, time_s: Array) -> Array:
        """What is lacking at times from the edge.

        After it, a smooth course through the windows and on to the end of the record: straight lines from one
        to the next, and level from the last, would be a movement that stops there.
        """
        at = np.log(np.maximum(time_s, self.time_s[0]))
        after = natural_spline(at, np.log(self.time_s), self.lacks_db)
        return np.where(time_s < 0, np.interp(time_s, self.before_s, self.before_db), after)

    def noise_at(self, time_s: Array) -> Array:
        """Noise in dB that it brings to points of a trace, as if each had its own; a window's is shared."""
        shared = np.maximum(1.0, np.gradient(np.searchsorted(time_s, self.time_s)))
        noise = np.interp(time_s, self.time_s, self.noise_db * np.sqrt(shared))
        return np.where(time_s < self.time_s[0], 0.0, noise)

    @property
    def _share(self) -> float:
        return UNSURE_ALONE if self.alone else UNSURE

    def unsure_db(self, time_s: float) -> float:
        """Standard uncertainty in dB that taking the first burst for the others leaves.

        What is lacking is known as means over windows: what changes from one to the next is doubt.
        """
        here = int(np.searchsorted(self.time_s, time_s))
        beside = self.lacks_db[max(0, here - 1) : here + 2]
        return math.hypot(self._share * abs(float(self.at(np.array(time_s)))), float(np.ptp(beside)) / 2)

    @property
    def before_std_db(self) -> float:
        """The same of the gain before the edge."""
        return self._share * abs(float(self.before_db[-1]))

    @property
    def after_std_db(self) -> float:
        """The same of the gain at the end of the record."""
        return self._share * abs(float(self.lacks_db[-1]))

    @property
    def most_db(self) -> float:
        """The most that is lacking anywhere."""
        return float(np.max(np.abs([*self.before_db, *self.lacks_db])))


def first_apart(scatter: Scatter, *, edge: Edge, change_db: float, before_db: Array) -> FirstBurst | None:
    """Find what bursts that begin from rest have over the mean of a set; None where all are alike.

    Parameters
    ----------
    scatter : Scatter
        How the repetitions differ.
    edge : {"attack", "release"}
    change_db : float
        Gain change of the edge, signed.
    before_db : ndarray, shape (windows before the edge,)
        Gain that all repetitions have in common, in the windows of the scatter.

    Notes
    -----
    A detector may still be charged by the burst before while the gain has long come to rest: the first burst
    of a set, after a longer rest, then starts later than all others, which agree. So may its gain have been
    nearer to rest, or its release shorter; a store that fills from burst to burst sets each farther from the
    first, by ever less. Where the first attack is ahead of the others, by its gain before the edge or on the
    way, it was the one that began away from rest, and the others count; so do they where the first alone
    still moves at the low level, which it came to from silence, and where it recovers later than the others,
    from sound before the set.
    """
    if scatter.repeats < FEWEST or scatter.time_s.size < LEAST_WINDOWS or scatter.before_db.shape[1] == 0:
        return None
    off = np.hstack([scatter.before_db[:, ::-1], scatter.off_db])
    parted = scatter.before_s.size
    of_half = _noise(scatter.after_db) * scatter.after_halves
    variance = np.append(
        np.full(parted, _noise(scatter.before_db)), of_half * scatter.louder / scatter.halves
    )
    weight = 1 / variance
    weight[parted] = 0.0  # what moves within the first half period each phase hears in its own way
    first = off[0] - off[1:].mean(axis=0)
    energy = float(weight @ first**2)
    spread = float(weight @ np.ptp(off[1:], axis=0) ** 2)
    if energy < CLEAR * first.size:
        return None
    alone = energy < APART**2 * spread
    if alone and not _one_after_another(off @ (weight * first), energy):
        return None
    odd = scatter.odd
    ahead = odd.off_db if odd is not None and odd.repetition == 0 else float(weight @ first)
    if edge == "release":
        rested = float(weight[parted:] @ first[parted:]) * change_db > 0
    else:
        came = _comes(before_db + scatter.before_db[0])
        still = came < max(COMES_DB, COMES * _comes(before_db + scatter.before_db[1:].mean(axis=0)))
        rested = ahead * change_db < 0 and still
    if not rested and (alone or odd is not None):
        return None  # its gain tells it apart, and it is left out; or no burst tells the rest
    lacks = off[0] if rested else off[1:].mean(axis=0)
    before, after = lacks[:parted], lacks[parted:]
    noise = np.sqrt(variance[parted:])
    return FirstBurst(alone, scatter.before_s[::-1], before, scatter.time_s, after, noise)


def _comes(before_db: Array) -> float:
    """By how much a gain moves at the low level, from its first window to its last."""
    return float(abs(before_db[-1] - before_db[0]))


def fills(scatter: Scatter) -> bool:
    """Whether each burst ends its record farther on than the one before, by ever less: something fills."""
    if scatter.repeats < FEWEST or scatter.after_db.shape[1] == 0:
        return False
    ends = scatter.after_db.mean(axis=1)
    variance = _noise(scatter.after_db) / scatter.after_db.shape[1]
    return bool(np.ptp(ends) ** 2 > CLEAR * variance) and _one_after_another(ends, variance)


def _noise(off_db: Array) -> float:
    """Variance of the windows of each repetition about their own mean; noise of 1e-6 dB at least."""
    return max(1e-12, float(np.mean((off_db - off_db.mean(axis=1, keepdims=True)) ** 2)))


def _one_after_another(gain: Array, variance: float) -> bool:
    """Whether each repetition lies farther on than the one before, by less and less: what a store does."""
    steps = np.diff(gain) * np.sign(gain[1] - gain[0])
    return bool(np.all(steps > -math.sqrt(variance)) and np.all(np.diff(steps) < math.sqrt(variance)))


def like_first(scatter: Scatter, first: FirstBurst) -> Scatter:
    """The scatter of a set whose bursts all are as the first is."""

    def alike(off_db: Array) -> Array:
        others = off_db[1:] - off_db[1:].mean(axis=0)
        return np.vstack([np.zeros(off_db.shape[1]), (not first.alone) * others])

    return replace(scatter, off_db=alike(scatter.off_db), before_db=alike(scatter.before_db))
