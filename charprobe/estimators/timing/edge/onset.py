"""When a gain starts to move, and how fast."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, cached_property

import numpy as np
import scipy

from charprobe.estimators.timing.edge.settling import Settled
from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.values.arrays import Array, Index
from charprobe.values.quantity import Z95, Quantity, Reading, Unmeasured

PARTS = (0.04, 0.07, 0.12, 0.2, 0.35)  # shares of the change up to which the first movement is followed
AGREE = 2.5  # neighbouring shares agree while their starts +- this many standard uncertainties overlap
FEWEST = 4  # points of movement that a fit needs
STARTS = 25
SMEARED = 9.0  # standard deviations of the Gaussian beyond which its share is below rounding
LOOKS = 5  # scans for a start at most, each twelve times finer
ROUGH = 0.2  # rise of chi-square to the starts beside the best, below which a parabola through them tells
FINER = 16  # parts in which the spread of a start is narrowed down
REST_SHARE = 5e-4  # share of the change by which a gain at rest may still move
CUBIC_FROM, CUBIC_GAIN = 12, 4e4  # points and chi-square from which a cubic follows the movement
KINKS = (0.3, 3.0)  # times the mean speed up to where it was followed: slower starts smoothly, faster jumps
SPREAD = 4.0  # standard uncertainties from the slowest to the fastest of what the shares tell
BEND = 0.15  # what the slope may bend unseen, as a share of itself, over the whole change
CLEAR = 100.0  # chi-square by which a movement must beat rest
LOOSEST = 0.2  # largest standard uncertainty of a start, as a share of the stretch it was fitted to
SHORT = (
    4.0  # standard uncertainty of a start from one sample of movement, in samples; falls with their number
)
ZERO_SAMPLES = 0.15  # standard uncertainty of a kink between samples, in samples


@dataclass(frozen=True)
class Onset:
    """Start of the movement in s from the edge (negative with look-ahead) and speed there in dB/ms."""

    start: Reading
    slope: Reading


@dataclass(frozen=True)
class _Kink:
    start_s: float
    start_std_s: float
    slope: float
    slope_std: float

    def widened(self, part: float) -> _Kink:
        """Return the kink with what may bend unseen over `part` of the change allowed for."""
        slope_std = math.hypot(self.slope_std, BEND * part * self.slope)
        return replace(self, slope_std=slope_std)


def find_onset(
    trace: GainTrace, *, before: Settled, change_db: float, reached_s: Callable[[float], float]
) -> Onset:
    """Find when the gain starts to move, as an explicit kink.

    Parameters
    ----------
    trace : GainTrace
        The edge.
    before : Settled
        Gain before the edge.
    change_db : float
        Whole gain change, signed.
    reached_s : callable
        About when a share (0 to 1) of the change is done, in s.

    Notes
    -----
    The first movement is fitted as rest up to a start ``t0`` and ``s (t - t0) + c (t - t0)**2`` after it (a
    cubic where the noise is low), with ``t0`` scanned, over growing shares of the change; the largest share
    that agrees with all smaller ones is taken, so that noise decides how far the fit may reach.
    """
    chosen: _Kink | None = None
    mean_speed = 0.0
    kinks: list[_Kink] = []
    low, high, slowest, fastest = -math.inf, math.inf, -math.inf, math.inf
    half_s = reached_s(0.5)
    for part in PARTS:
        stop_s = reached_s(part)
        # with look-ahead the movement starts somewhere before, within a few of its own lengths
        ahead_s = 5 * (half_s - stop_s) + 10 * trace.sample_s
        low_s = max(0.5 * float(trace.time_s[0]), stop_s - ahead_s)
        kink = _fit_kink(trace, before, low_s, stop_s, change_db=change_db)
        if kink is None:
            continue
        kink = kink.widened(part)
        low = max(low, kink.start_s - AGREE * kink.start_std_s)
        high = min(high, kink.start_s + AGREE * kink.start_std_s)
        slowest = max(slowest, kink.slope - AGREE * kink.slope_std)
        fastest = min(fastest, kink.slope + AGREE * kink.slope_std)
        kinks.append(kink)
        if low > high or slowest > fastest:
            if chosen is kinks[0]:
                continue  # all are asked
            break
        chosen, mean_speed = kink, part * change_db / max(stop_s - kink.start_s, trace.sample_s)
    if chosen is None:
        reason, then = "too few points of movement to tell where it starts", "raise the sampling rate"
        return Onset(
            Unmeasured("s", reason, then, at_most=max(reached_s(PARTS[-1]), trace.resolution_s)),
            Unmeasured("dB/ms", reason, then),
        )
    # shares that deny each other at once leave open which of them tells of the edge: it may lie with any
    starts, slopes = zip(*((kink.start_s, kink.slope) for kink in kinks), strict=True)
    denied = len(kinks) > 1 and chosen is kinks[0]
    std = math.hypot(chosen.start_std_s, ZERO_SAMPLES * trace.resolution_s, denied * np.ptp(starts) / Z95)
    start = Quantity.from_std(chosen.start_s, std, "s")
    # how far the first movement reaches is anyone's choice: the interval covers what all choices say
    slope_std = math.hypot(chosen.slope_std, float(np.ptp(slopes)) / (Z95 if denied else SPREAD))
    speed = Quantity.from_std(chosen.slope / 1e3, slope_std / 1e3, "dB/ms")
    if not KINKS[0] < chosen.slope / mean_speed < KINKS[1] or speed.low < 0 < speed.high:
        reason = "the gain jumps, or starts to move smoothly: there is no one first speed"
        return Onset(start, Unmeasured("dB/ms", reason, "none needed: t50 and t63 tell how fast it moves"))
    return Onset(start, speed)


@dataclass(frozen=True)
class _FirstMovement:
    """Points around a first movement: times, gain re rest, weights, and the Gaussian they show through."""

    t: Array
    g: Array
    weights: Array
    order: int
    smear_s: float

    def fit(self, starts_s: Array) -> _Fits:
        """Fit the movement from each of several starts on."""
        end, told = float(self.t[-1]), starts_s < self.t[-1 - self.order]  # by enough moving points
        reach = np.where(told, end - starts_s, 1.0)
        gram, right = self._sharp(starts_s, reach) if self.smear_s == 0 else self._smeared(starts_s, reach)
        # a trace of the diagonal keeps the inverse finite where the moving points are few
        ridge = np.where(told, 1e-13 * np.einsum("kii->k", gram), 1.0)
        covariance = np.linalg.inv(gram + ridge[:, None, None] * _eye(self.order))
        fitted = np.where(told[:, None], (covariance @ right[:, :, None])[:, :, 0], 0.0)
        taken = 2 * np.sum(fitted * right, axis=1) - (fitted[:, None, :] @ gram @ fitted[:, :, None])[:, 0, 0]
        return _Fits(
            self.energy - taken,
            np.where(told, fitted[:, 0] / reach, 0.0),
            np.where(told, covariance[:, 0, 0] / reach**2, np.inf),
        )

    @cached_property
    def energy(self) -> float:
        """Chi-square of no movement at all."""
        return float(self.weights @ self.g**2)

    def _smeared(self, starts_s: Array, reach: Array) -> tuple[Array, Array]:
        """Normal equations of the powers of time since each start, seen through the Gaussian."""
        # nothing moves before the earliest start, but for what the Gaussian smears
        rest = int(np.searchsorted(self.t, float(starts_s.min()) - SMEARED * self.smear_s))
        x = (self.t[rest:] - starts_s[:, None]) / reach[:, None]
        basis = _powers(x, self.smear_s / reach[:, None], self.order)
        weighted = basis * self.weights[rest:]
        return weighted @ basis.swapaxes(1, 2), weighted @ self.g[rest:]

    def _sharp(self, starts_s: Array, reach: Array) -> tuple[Array, Array]:
        """The same without a Gaussian: from sums over the points between one start and the next.

        The sums of powers of time since each start follow from those since later ones: ``(x + d)**j``.
        """
        ranked = np.argsort(starts_s)
        # sums from a start beyond the end, which nothing is asked of, would only be differences
        starts, unit = np.minimum(starts_s[ranked], self.t[-1]), float(self.t[-1] - self.t[0])
        cuts = np.minimum(self.t.searchsorted(starts), self.t.size - 1)
        counts = np.append(cuts[1:], self.t.size) - cuts
        x = (self.t[cuts[0] :] - np.repeat(starts, counts)) / unit
        rows = np.empty((3 * self.order + 2, x.size))
        own, sound = rows[: 2 * self.order + 1], rows[2 * self.order + 1 :]  # powers of x; times gain
        own[0] = self.weights[cuts[0] :]
        for power in range(1, len(own)):
            np.multiply(own[power - 1], x, out=own[power])
        np.multiply(own[: self.order + 1], self.g[cuts[0] :], out=sound)
        between = np.add.reduceat(rows, cuts - cuts[0], axis=1) * (counts > 0)
        apart = np.maximum((starts - starts[:, None]) / unit, 0.0)
        later = np.empty((len(own), *apart.shape))  # powers of the way to later starts
        later[0] = _later(starts.size)
        for power in range(1, len(own)):
            np.multiply(later[power - 1], apart, out=later[power])
        moved = later @ between.T  # shape (power, starts, rows)
        terms = _binomial(self.order)
        parts = moved[terms.power, :, terms.row] * terms.factor[:, None]
        sums = np.add.reduceat(parts, terms.first, axis=0)
        back = np.empty_like(ranked)
        back[ranked] = np.arange(ranked.size)
        powers, pairs = _powers_of(self.order)
        scale = (unit / reach[:, None]) ** powers
        gram = sums[pairs][:, :, back].transpose(2, 0, 1)
        right = sums[len(own) + powers][:, back].T
        return gram * scale[:, :, None] * scale[:, None, :], right * scale

    def scan(self, low_s: float, high_s: float) -> float:
        """Return the start of least chi-square, by repeated finer scans."""
        for _ in range(LOOKS):
            step = (high_s - low_s) / (STARTS - 1)
            starts: Array = low_s + step * np.arange(STARTS, dtype=np.float64)
            starts[-1] = high_s
            costs = self.fit(starts).cost
            at = int(np.argmin(costs))
            best = float(starts[at])
            low_s, high_s = max(low_s, best - step), min(high_s, best + step)
            if 0 < at < STARTS - 1:
                before, least, after = costs[at - 1 : at + 2].tolist()
                bend, scale = before - 2 * least + after, max(1.0, least / self.t.size)
                if bend > 0 and max(before, after) - least < ROUGH * scale:
                    return best + float(step * (before - after) / (2 * bend))
        return best

    def start_std(self, start_s: float, cost: float, scale: float) -> float:
        """Return by how much the start may move until chi-square has risen from `cost` by `scale`."""
        span = float(self.t[-1] - self.t[0])

        def rise(by_s: Array) -> Array:
            """Return how much chi-square has risen by, after steps to the side where it rises more."""
            costs = self.fit(np.concatenate([start_s + by_s, start_s - by_s])).cost
            return np.asarray(costs.reshape(2, -1).max(axis=0) - cost)

        doublings = max(1, math.ceil(math.log2(max(span, 1e-7) / 1e-7)))
        doubled = 1e-7 * np.exp2(np.arange(doublings, dtype=np.float64))
        risen = rise(doubled) >= scale
        high = 1e-7 * 2.0 ** (int(np.argmax(risen)) if risen.any() else doublings)
        low = high / 2 if high > 1e-7 else 0.0
        steps = low + (high - low) * np.arange(FINER + 1) / FINER
        rises = rise(steps)
        rises[-1] = max(float(rises[-1]), scale)  # beyond what is looked at it is taken to rise
        past = int(np.argmax(rises >= scale))
        if past == 0:
            return low
        below, above = rises[past - 1 : past + 1].tolist()
        return float(steps[past - 1] + (scale - below) / (above - below) * (steps[past] - steps[past - 1]))


@dataclass(frozen=True)
class _Terms:
    """Terms of ``(x + d)**j``, for all rows of sums one after the other: power of d, row of x, and factor.

    `first` is the place of each row's first term.
    """

    power: Index
    row: Index
    factor: Array
    first: Index


@cache
def _eye(order: int) -> Array:
    return np.eye(order)


@cache
def _later(starts: int) -> Array:
    """1 where a start, by column, is not before another one, by row."""
    return np.tri(starts).T


@cache
def _powers_of(order: int) -> tuple[Index, Index]:
    """Powers 1 to `order`, and those of each product of two."""
    powers = np.arange(1, order + 1)
    return powers, powers[:, None] + powers


@cache
def _binomial(order: int) -> _Terms:
    """Terms for powers 0 to twice `order` of x, and then for powers 0 to `order` of x times gain."""
    terms = [
        (j - i, first + i, math.comb(j, i), i == 0)
        for first, count in ((0, 2 * order + 1), (2 * order + 1, order + 1))
        for j in range(count)
        for i in range(j + 1)
    ]
    power, row, factor, begins = (np.array(column) for column in zip(*terms, strict=True))
    return _Terms(power, row, factor.astype(np.float64), np.flatnonzero(begins))


@dataclass(frozen=True)
class _Fits:
    """Chi-square of each start, and the slope there with its variance."""

    cost: Array
    slope: Array
    variance: Array

    @property
    def only(self) -> tuple[float, float, float]:
        """All three of a single start."""
        return float(self.cost[0]), float(self.slope[0]), float(self.variance[0])


def _powers(x: Array, smear: Array, order: int) -> Array:
    """Powers 1 to `order` of max(x, 0), seen through a Gaussian of standard deviation `smear`.

    `x` has shape (starts, n), the result (starts, order, n).
    """
    below = scipy.special.ndtr(x / smear)
    beside = smear * np.exp(-0.5 * (x / smear) ** 2) / math.sqrt(2 * math.pi)
    powers = [x * below + beside, (x**2 + smear**2) * below + x * beside]
    if order > 2:
        powers.append((x**3 + 3 * x * smear**2) * below + (x**2 + 2 * smear**2) * beside)
    return np.stack(powers, axis=1)


def _fit_kink(
    trace: GainTrace, before: Settled, low: float, stop_s: float, *, change_db: float
) -> _Kink | None:
    """Fit the start of the movement to the points up to `stop_s`; None where it does not stand out."""
    used = (trace.time_s >= low - (stop_s - low)) & (trace.time_s <= stop_s)
    moving = int(np.count_nonzero(used & (trace.time_s > (0.0 if stop_s > 0 else low))))
    if moving < FEWEST or np.count_nonzero(used) < FEWEST + 3:
        return None
    unrest = REST_SHARE * abs(change_db)
    weights = (trace.std_db[used] ** 2 + before.std_db**2 + unrest**2) ** -1.0
    # ahead of the edge nothing but the movement itself is smeared; at the edge the reference is, too
    smear_s = trace.window_s / math.sqrt(12) if stop_s < 0 else 0.0
    points = _FirstMovement(trace.time_s[used], trace.gain_db[used] - before.value_db, weights, 2, smear_s)
    start = points.scan(low, stop_s)
    if start - low < (stop_s - low) / STARTS:  # it began before what is looked at: a wavering, no edge
        return None
    cost, slope, variance = points.fit(np.array([start])).only
    gained = points.energy - cost
    if gained > CUBIC_GAIN and moving >= CUBIC_FROM:
        points = replace(points, order=3)
        start = points.scan(low, stop_s)
        cost, slope, variance = points.fit(np.array([start])).only
    scale = max(1.0, cost / max(1, points.t.size - points.order - 1))
    # a few samples of movement bend more than they can tell
    std = math.hypot(
        points.start_std(start, cost, scale), SHORT * trace.sample_s**2 / max(stop_s - start, trace.sample_s)
    )
    if (slope > 0) != (change_db > 0) or gained < CLEAR * scale or std > LOOSEST * (stop_s - low):
        return None
    # the slope goes with the start: its variance at the best start alone would be too small
    beside = points.fit(np.array([start - std, start + std])).slope
    slope_std = math.hypot(math.sqrt(variance * scale), float(np.max(np.abs(beside - slope))))
    return _Kink(start, std, slope, slope_std)
