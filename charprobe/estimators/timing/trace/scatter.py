"""How the repetitions of a burst differ: the gain of each carrier phase beside the mean of all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from charprobe.estimators.timing.trace.carrier_means import CALM_PERIODS
from charprobe.estimators.timing.trace.dry_reference import BesideEdge
from charprobe.estimators.timing.trace.phase_set import CarrierGain, EdgeCarriers
from charprobe.values.arrays import Array, Index
from charprobe.values.quantity import DB_PER_NEPER, student_factor

REST_WINDOWS = 16  # windows at rest, on either side of an edge, that the rest is judged by
REST_SHARE = 0.3  # share of the record that they reach over, where it has room for so many half periods
LONGEST_HALVES = 16  # half carrier periods in the longest window
WINDOW_SHARE = 0.1  # length of a window, as a share of its distance from the edge
GROWTH = 1.12  # distance of one far window from the edge over that of the one before
AROUND = 0.35  # distance in log time of windows that tell of one moment
GUARD = 0.15  # share of the record before an edge that is left to look-ahead
RIPPLE_SHARE = 0.5  # of what averages out: the mean of squares times gains ripples by that, rms
CHANCE = 4.0  # standard deviations by which a variance must exceed that of the rest to be told from it
ODD = 8.0  # how many times farther off than the others are apart a burst must start to be called odd
ODD_DB = 0.05  # and by how much at least
PARTED = 5  # repetitions that part what averages out from what does not
LEAST_SHARE = -0.9  # of the common gain by which one may fall short: a burst that is not there is no gain
FEWEST = 3  # bursts that must agree for another to be called odd


@dataclass(frozen=True)
class OddStart:
    """A repetition, counted from 0, that starts from another gain than all the others, by `off_db`."""

    repetition: int
    off_db: float


@dataclass(frozen=True)
class Scatter:
    """Gain of every repetition of a burst less their common gain, in windows around one edge.

    Attributes
    ----------
    time_s : ndarray, shape (m,)
        Middles of windows after the edge, ascending.
    halves : ndarray, shape (m,)
        Length of each window, in half carrier periods.
    off_db : ndarray, shape (k, m)
        In each window, one row per repetition.
    louder : ndarray, shape (m,)
        Variance that noise has there over that at the end of the record: a lower gain brings less sound.
    phase_rad : ndarray, shape (k,)
        Phase of the carrier at the edge, in each repetition.
    before_s : ndarray, shape (16,)
        Middles of windows before the edge, negative, descending.
    before_db, after_db : ndarray, shape (k, 16)
        The same at rest: before the edge, and at the end of the record.
    after_halves : int
        Length of the windows of the latter, in half carrier periods.
    """

    time_s: Array
    halves: Array
    off_db: Array
    louder: Array
    phase_rad: Array
    before_s: Array
    before_db: Array
    after_db: Array
    after_halves: int

    @property
    def repeats(self) -> int:
        """Number of repetitions."""
        return int(self.off_db.shape[0])

    def at(self, time_s: float) -> float:
        """Standard uncertainty in dB that a moving gain has from the choice of carrier phases and repeats.

        Scatter that the gain at rest shows as well is noise, or colour, and not counted.
        """
        if self.repeats < 2 or self.time_s.size == 0 or time_s < 0:
            return 0.0
        middle, around = self._windows_at(time_s)
        beside = np.arange(max(0, middle - 1), min(middle + 2, self.time_s.size))
        # bursts that run apart do so for long: over many windows less shows than in one
        mean = self.off_db[:, around].mean(axis=1, keepdims=True)
        # of one half period, beside as much sound as there is then
        noise = self._variance(self.after_db) * self.after_halves * float(self.louder[middle])
        return max(
            self._of_mean(self.off_db[:, beside], noise / float(self.halves[beside].min())),
            self._of_mean(mean, noise / float(self.halves[around].sum())),
        )

    def ripple_at(self, time_s: float) -> float:
        """Standard uncertainty in dB from what averages out over phases, but ripples on the way there.

        Scatter that does not average out is noise, and as much of it is in what does.
        """
        if self.repeats < PARTED or self.time_s.size == 0 or time_s < 0:
            return 0.0
        mean = self.off_db[:, self._windows_at(time_s)[1]].mean(axis=1, keepdims=True)
        left = self._left(mean)
        noise = float(np.sum(left**2)) / (self.repeats - self._even.shape[1])
        free = self._even.shape[1] - 1  # the mean of all is what they are held against
        return RIPPLE_SHARE * math.sqrt(max(0.0, float(np.var(mean - left)) - noise * free / self.repeats))

    def half_range_at(self, time_s: float) -> float:
        """Half of what the repetitions differ by at most about one time, in dB."""
        if self.time_s.size == 0:
            return 0.0
        mean = self.off_db[:, self._windows_at(max(time_s, float(self.time_s[0])))[1]].mean(axis=1)
        return float(np.ptp(mean)) / 2

    def _windows_at(self, time_s: float) -> tuple[int, Index]:
        """The window nearest to a moment, and all that tell of it."""
        middle = int(np.argmin(np.abs(self.time_s - time_s)))
        return middle, np.flatnonzero(np.abs(np.log(self.time_s / self.time_s[middle])) <= AROUND)

    @property
    def before_std_db(self) -> float:
        """Standard uncertainty in dB of the gain before the edge, from how unlike the bursts start."""
        return self._at_rest(self.before_db)

    @property
    def after_std_db(self) -> float:
        """Standard uncertainty in dB of the gain after the edge, from how unlike the bursts end."""
        return self._at_rest(self.after_db)

    @property
    def odd(self) -> OddStart | None:
        """The one repetition that starts from another gain than all the others; None where there is none."""
        if self.repeats <= FEWEST or self.before_db.shape[1] == 0:
            return None
        starts = self.before_db.mean(axis=1)
        far = int(np.argmax(np.abs(starts - np.median(starts))))
        others = np.delete(starts, far)
        off = float(starts[far] - np.mean(others))
        return OddStart(far, off) if abs(off) > max(ODD_DB, ODD * float(np.ptp(others))) else None

    def _at_rest(self, off_db: Array) -> float:
        if self.repeats < 2 or off_db.shape[1] == 0:
            return 0.0
        means = off_db.mean(axis=1, keepdims=True)
        # what windows differ by within one burst is noise and colour, not another gain
        floor = float(np.mean((off_db - means) ** 2)) / off_db.shape[1]
        return self._of_mean(means, floor)

    @cached_property
    def _even(self) -> Array:
        """What evenly spread carrier phases average out, one column each; shape (k, 1 or 3).

        Their mean, and what goes as the cosine of twice the phase, as most of what a rectified carrier does.
        Fewer than five repetitions cannot part it from the rest.
        """
        turns = np.exp(2j * self.phase_rad)
        columns = [np.ones(self.repeats), turns.real, turns.imag]
        return np.stack(columns[: 3 if self.repeats >= PARTED else 1], axis=1)

    def _left(self, off_db: Array) -> Array:
        """What of the repetitions does not average out."""
        return np.asarray(self._aside @ off_db)

    @cached_property
    def _aside(self) -> Array:
        """Projection of repetitions on what does not average out, shape (k, k)."""
        return np.eye(self.repeats) - self._even @ np.linalg.pinv(self._even)

    def _variance(self, off_db: Array) -> float:
        """Variance between repetitions that does not average out, mean over windows."""
        free = self.repeats - self._even.shape[1]
        return float(np.sum(self._left(off_db) ** 2) / (free * off_db.shape[1]))

    def _of_mean(self, off_db: Array, floor: float) -> float:
        """Standard uncertainty of the mean of all repetitions, where they differ by more than the floor."""
        free = self.repeats - self._even.shape[1]
        chance = 1 + CHANCE * math.sqrt(2 / (free * off_db.shape[1]))
        variance = self._variance(off_db)
        # so few repetitions know their own scatter only roughly, and noise as well may be what they differ by
        factor = student_factor(free) if variance > chance * floor else 1.0
        return factor * math.sqrt(max(0.0, variance - floor) / self.repeats)


def scatter(
    samples: Sequence[Array],
    carriers: EdgeCarriers,
    *,
    solved: CarrierGain,
    beside: BesideEdge,
    near: Index,
    dry: tuple[float, float],
    phase_rad: Array,
) -> Scatter:
    """Read the gain of each repetition beside their common gain.

    `samples` and `carriers` are those of `solve_edge`; `solved` is what that found, `beside` what
    `beside_edge` did on the grid `near`, `dry` the gain of the reference before and after the edge, and
    `phase_rad` as in `Scatter`.

    Notes
    -----
    Each repetition is projected on its own carrier over whole periods, more of them farther out, and so is
    the common gain: movement common to all phases leaves nothing, ripple at twice the carrier the same in
    all. Beside the edge the reference stands for the carrier: what the path rings there is in both.
    """
    grid = solved.grid
    half = carriers.period / 2
    moving = _moving(half, int(grid[-1]) + 1)
    last_before, stop = round(GUARD * int(grid[0])), int(grid[-1]) + 1
    before_halves, after_halves = (_rest_halves(n / half) for n in (-int(grid[0]), stop))
    spans = [
        [(last_before - b, last_before - a) for a, b in _rest(half * before_halves)],
        [(stop - b, stop - a) for a, b in _rest(half * after_halves)],
        moving,
    ]
    kept = [[(a, b) for a, b in part if a >= grid[0] and b > a] for part in spans]
    flat = [span for part in kept for span in part]
    index: Index = np.concatenate([np.arange(a, b) for a, b in flat]) - int(grid[0])
    starts = np.concatenate([[0], np.cumsum([b - a for a, b in flat])[:-1]]).astype(np.int64)
    gain, sides = solved.gain.real.copy(), np.where(near < 0, *dry)
    gain[near - grid[0]] = beside.ratio.real * sides
    gain = _over_halves(gain, index, split=-int(grid[0]), half=half)
    inside = np.flatnonzero((grid[index] >= near[0]) & (grid[index] <= near[-1]))
    of_near = grid[index[inside]] - near[0]
    own, common = np.empty((len(samples), len(flat))), np.empty((len(samples), len(flat)))
    for k, (y, (c, levels)) in enumerate(zip(samples, carriers.of_repetitions(index), strict=True)):
        normal = y[index] / levels
        before, after = carriers.levels[[0, 2], k]
        level = np.where(near < 0, before, after)
        c[inside] = (beside.dry[k] / level / sides)[of_near]
        normal[inside] = (beside.wet[k] / level)[of_near]
        square = c * c
        weight = np.add.reduceat(square, starts)
        own[k] = np.add.reduceat(c * normal, starts) / weight
        common[k] = np.add.reduceat(square * gain, starts) / weight
    off = own - common
    share = (off - off.mean(axis=0)) / np.maximum(np.abs(common), 1e-9)
    off = DB_PER_NEPER * np.log1p(np.maximum(share, LEAST_SHARE))
    first, second = len(kept[0]), len(kept[0]) + len(kept[1])
    gains = np.maximum(np.abs(common.mean(axis=0)), 1e-9)
    ends = float(np.mean(gains[first:second])) if second > first else 1.0
    to_s = carriers.step / carriers.rate_hz
    return Scatter(
        time_s=np.array([(a + b) / 2 for a, b in kept[2]]) * to_s,
        halves=np.array([(b - a) / half for a, b in kept[2]]),
        off_db=off[:, second:],
        louder=(ends / gains[second:]) ** 2,
        phase_rad=phase_rad,
        before_s=np.array([(a + b) / 2 for a, b in kept[0]]) * to_s,
        before_db=off[:, :first],
        after_db=off[:, first:second],
        after_halves=after_halves,
    )


def _over_halves(gain: Array, index: Index, *, split: int, half: float) -> Array:
    """Mean over half a carrier period about some points, never across the edge at index `split`.

    It is free of what turns at twice the carrier, as a gain weighted with unequal repetitions does.
    """
    out = np.empty(index.size)
    for side, first, stop in ((index < split, 0, split), (index >= split, split, gain.size)):
        at, own = index[side] - first, gain[first:stop]
        reach = np.minimum(round(half / 2), np.minimum(at, own.size - 1 - at))
        total = np.cumsum(own)
        # a half period of 2 m samples takes the outermost two of 2 m + 1 by half
        early, late = at - reach, at + reach
        whole = (2 * (total[late] - total[early]) - own[late] + own[early]) / np.maximum(4 * reach, 1)
        out[side] = np.where(reach > 0, whole, own[at])
    return out


def _rest_halves(halves: float) -> int:
    """Half carrier periods in each window at rest, of a record of that many."""
    return min(LONGEST_HALVES, max(1, int(REST_SHARE * halves / REST_WINDOWS)))


def _rest(length: float) -> list[tuple[int, int]]:
    """Windows at rest, of that many samples, one after another."""
    return [(round(length * n), round(length * (n + 1))) for n in range(REST_WINDOWS)]


def _moving(half: float, stop: int) -> list[tuple[int, int]]:
    """Windows after an edge up to `stop`, of whole carrier periods: even orders leave nothing."""
    windows, at = [], 0.0
    while at < stop:
        count = min(LONGEST_HALVES, 2 * max(1, int(WINDOW_SHARE * at / half / 2)))
        windows.append((round(at), round(at + count * half)))
        at = max(at + half, GROWTH * at) if at >= 2 * CALM_PERIODS * half else at + half
    windows = [window for window in windows if window[1] <= stop]
    last = (stop - (windows[-1][1] - windows[-1][0]), stop) if windows else (stop, stop)
    return [*windows, last] if windows and last[0] > windows[-1][0] else windows
