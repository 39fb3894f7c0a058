"""What kind of movement a gain makes: one exponential in dB, two, or a straight line in dB, after a hold."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np

from charprobe.estimators.fitting import Fitted, bic, fit_unknowns
from charprobe.estimators.timing.edge.tail import LAWS, Law
from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.values.arrays import Array
from charprobe.values.quantity import Z95, Quantity, Reading, Unmeasured

# what is still to go, as a share of the change; its derivatives by time, and by each unknown
Moved = tuple[Array, Array, list[Array]]
Shape = Callable[[Array, Array], Moved]
MovementKind = Literal["exponential", "straight", "two-stage", "other"]

FINE = 2000  # points at which a law is asked when it does a share
POINTS = 240  # points the fit sees, spread evenly over the logarithm of time
BEGUN = 0.01  # share of the change by which the movement has begun
UNLIKE = 4e-3  # share of the change that a model may miss without being called wrong
ROUNDED = 0.03  # share of t63 that neither hold nor constant has, from which a start is rounded
WRONG = 0.03  # share of the change, rms, from which no model is said to describe the movement
CLEARLY = 12.0  # BIC by which a richer model must win
WORTH = 0.6  # and the share of the simpler model's misfit, rms, that it may leave at most
LIKE = 0.07  # share by which times that a law gives may miss those read off the trace,
STRETCH = 0.06  # and by which what lies between two of them, counted from its own hold, may be stretched
BOW = math.sqrt(12)  # relative doubt of a slope of 1 by what a line misses, rms: a bow is steeper and flatter
APART = 2.5  # smallest ratio of two time constants that a recording can part
SMALLEST_SHARE = 0.05  # of either stage
LOOSEST = 0.5  # of the logarithm of a constant: beyond it the interval spans more than a factor of 7
LONGEST = 1 / 1.5  # longest time constant, as a share of the record


@dataclass(frozen=True)
class ReleaseKind:
    """How a gain recovers (or falls) after its edge.

    Attributes
    ----------
    kind : {"exponential", "straight", "two-stage", "other"}
        The simplest description that the trace does not contradict; "other" if none of the three does.
    stages : Reading
        1 or 2 exponential stages; unmeasured where the movement is not exponential.
    tau_1, tau_2 : Reading
        Time constants in s, the faster first.
    share_1 : Reading
        Share of the change, in %, that the faster stage carries.
    hold : Reading
        Time in s from the edge to the start of the movement: that of the model, unless the trace denies it.
    rate : Reading
        Speed of a straight movement in dB/s, signed.
    """

    kind: MovementKind
    stages: Reading
    tau_1: Reading
    tau_2: Reading
    share_1: Reading
    hold: Reading
    rate: Reading


@dataclass(frozen=True)
class _FittedShape:
    """A fitted shape and how well it fits."""

    shape: Shape
    fitted: Fitted
    rms_db: float
    bic: float


def classify_movement(
    trace: GainTrace,
    *,
    before_db: float,
    after_db: float,
    after_std_db: float,
    t63: Quantity,
    t90: Quantity | None,
) -> ReleaseKind:
    """Find the simplest shape that describes the movement after an edge, and its constants.

    Parameters
    ----------
    trace : GainTrace
        The edge.
    before_db, after_db : float
        Settled gains.
    after_std_db : float
        Standard uncertainty of the gain after the edge, which the fit may move within.
    t63, t90 : Quantity, Quantity or None
        Times for 63.2 and 90 % of the change: the first sets the scale, and no shape is said to describe the
        movement that misses either by more than 7 %, or an exponential one their ratio by more than 6 %.

    Notes
    -----
    Shapes of the share still to go, with u = t - hold: ``exp(-u/tau)``, or
    ``s exp(-u/tau_1) + (1-s) exp(-u/tau_2)``, or ``max(0, 1 - u/T)``. All are fitted with the asymptote
    free, to points even in log time. Points are trusted to no better than 0.4 % of the change, since no
    device is an exact exponential. Two stages are accepted only if the Bayesian information criterion says
    so by 12, the misfit falls to 60 % or less, the constants lie apart by 2.5 or more and inside the
    record, neither share is below 5 %, and both hold against every single law that bends (`fit_tail`), too.
    """
    t63_s = t63.value
    t, g, s = _spread(trace, t63_s)
    change = after_db - before_db
    floor = UNLIKE * abs(change)
    movement = _Movement(t, g, np.hypot(s, floor), before_db, after_db, max(after_std_db, floor))
    fit = movement.fit
    times = {1 - math.exp(-1): t63_s} | ({0.9: t90.value} if t90 is not None else {})
    end, tick = float(t[-1]), trace.resolution_s
    one = fit(_exponential, [0.0, math.log(t63_s)], [-tick, math.log(tick)], [t63_s, math.log(end)])
    line = fit(_straight, [0.0, math.log(1.6 * t63_s)], [-tick, math.log(tick)], [t63_s, math.log(2 * end)])
    best = min(one, line, key=lambda law: law.bic)
    hold = movement.hold(best)
    simple = _straight_kind(line, change, hold) if best is line else _one(one, t63, t90, hold)
    if WORTH * best.rms_db > floor / 4:  # else no second stage could be worth its constants
        firsts = [[0.0, math.log(t63_s * a), math.log(t63_s * b), w] for a, b, w in _STARTS]
        bounds = [-tick, math.log(tick), math.log(tick), 0.0], [t63_s, math.log(end), math.log(end), 1.0]
        two = min((fit(_two_stage, first, *bounds) for first in firsts), key=lambda law: law.bic)
        if _two_stages(best, two, end, floor) and movement.agrees(two, times):
            bent = [
                fit(
                    partial(_bent, law),
                    [0.0, math.log(t63_s), law.first],
                    [-tick, math.log(tick), law.limits[0]],
                    [t63_s, math.log(end), law.limits[1]],
                )
                for law in LAWS
            ]
            bent_law = min(bent, key=lambda law: law.bic)
            if two.bic + CLEARLY < bent_law.bic and max(two.rms_db, floor / 4) < WORTH * bent_law.rms_db:
                return _two(two, movement.hold(two))
            return _other("a law that bends describes the movement nearly as well as two stages")
    if best.rms_db > WRONG * abs(change) or not movement.agrees(best, times):
        return _other(
            f"no simple law describes the movement: the best one misses it by {best.rms_db:.2g} dB rms"
        )
    return simple


def waited_s(
    hold: Reading | None, *, t63: Reading | None, stages: Reading | None, tau_1: Reading | None
) -> float:
    """Return the time that a law waits: its hold, or up to where it begins behind a rounded start."""
    if isinstance(hold, Quantity):
        return hold.value
    single = isinstance(stages, Quantity) and stages.value == 1
    if not (hold and single and isinstance(t63, Quantity) and isinstance(tau_1, Quantity)):
        return 0.0
    return (hold.at_most or 0.0) if t63.value - tau_1.value > ROUNDED * t63.value else 0.0


_STARTS = ((0.4, 4.0, 0.6), (0.15, 2.0, 0.4), (0.7, 12.0, 0.8))


def _spread(trace: GainTrace, t63_s: float) -> tuple[Array, Array, Array]:
    """Means of the trace over bins even in log time, from well inside the first 63 % to the end."""
    after = trace.time_s > 0
    t, g, s = trace.time_s[after], trace.gain_db[after], trace.std_db[after]
    first = max(trace.resolution_s, t63_s / 200)
    edges = np.concatenate([[0.0], np.geomspace(first, t[-1] * (1 + 1e-9), POINTS)])
    index = np.searchsorted(t, edges)
    starts = np.unique(index[index < t.size])
    weights = s**-2.0
    total = np.add.reduceat(weights, starts)
    # bins of a curved movement are placed at their weighted mean time
    return (
        np.add.reduceat(weights * t, starts) / total,
        np.add.reduceat(weights * g, starts) / total,
        total**-0.5,
    )


def _exponential(u: Array, p: Array) -> Moved:
    tau = math.exp(p[0])
    left = np.exp(-u / tau)
    return left, -left / tau, [left * u / tau]


def _straight(u: Array, p: Array) -> Moved:
    span = math.exp(p[0])
    moving = u < span
    return np.maximum(0.0, 1 - u / span), np.where(moving, -1 / span, 0.0), [np.where(moving, u / span, 0.0)]


def _two_stage(u: Array, p: Array) -> Moved:
    (fast, fast_speed, by_fast), (slow, slow_speed, by_slow) = (_exponential(u, p[i:]) for i in (0, 1))
    share, rest = p[2], 1 - p[2]
    by_unknown = [share * by_fast[0], rest * by_slow[0], fast - slow]
    return share * fast + rest * slow, share * fast_speed + rest * slow_speed, by_unknown


def _bent(law: Law, u: Array, p: Array) -> Moved:
    left, by_log_tau, by_bend = law.left(u / math.exp(p[0]), float(p[1]))
    return left, -by_log_tau / np.maximum(u, 1e-12), [by_log_tau, by_bend]


@dataclass(frozen=True)
class _Movement:
    """Points of a movement with their uncertainties, and the settled gains it runs between."""

    time_s: Array
    gain_db: Array
    std_db: Array
    before_db: float
    after_db: float
    after_std_db: float

    def fit(self, shape: Shape, first: list[float], low: list[float], high: list[float]) -> _FittedShape:
        """Fit hold, shape and asymptote; the asymptote carries its own measurement as one more point."""

        def misfit(p: Array) -> tuple[Array, Array]:
            since = self.time_s - p[0]
            left, speed, by_unknown = shape(np.maximum(since, 0.0), p[1:-1])
            change = self.before_db - p[-1]
            slopes = [
                -change * np.where(since > 0, speed, 0.0),
                *(change * by for by in by_unknown),
                1 - left,
            ]
            told = np.stack(slopes, axis=1) / self.std_db[:, None]
            last = np.zeros(p.size)
            last[-1] = 1 / self.after_std_db
            residuals = (p[-1] + change * left - self.gain_db) / self.std_db
            return (
                np.append(residuals, (p[-1] - self.after_db) / self.after_std_db),
                np.vstack([told, last]),
            )

        reach = 50 * self.after_std_db
        bounds = ([*low, self.after_db - reach], [*high, self.after_db + reach])
        start = np.clip([*first, self.after_db], np.array(bounds[0]) + 1e-9, np.array(bounds[1]) - 1e-9)
        fitted = fit_unknowns(misfit, start, bounds=bounds, rounds=200, tolerance=1e-8)
        residual = fitted.residuals[:-1] * self.std_db
        chi2 = float(np.sum(fitted.residuals[:-1] ** 2))
        evidence = bic(chi2, points=self.time_s.size, unknowns=fitted.values.size)
        return _FittedShape(shape, fitted, float(np.sqrt(np.mean(residual**2))), evidence)

    def hold(self, law: _FittedShape) -> Quantity:
        """Dead time before a law: the fitted one, or none to where the trace has begun if that denies it.

        Where a detector's own fall rounds the start, a law begins later than the gain; behind a ramp, sooner.
        """
        fitted = Quantity.from_std(float(law.fitted.values[0]), law.fitted.std(0), "s")
        done = (self.gain_db - self.before_db) / (self.after_db - self.before_db)
        passed = int(np.flatnonzero(np.append(-1.0, done[:-1]) < BEGUN)[-1])
        looked = [min(int(np.searchsorted(self.time_s, fitted.value)), passed), passed]
        if np.abs(law.fitted.residuals[looked]).max() < Z95:
            return fitted
        begun_s = max(float(self.time_s[passed]), fitted.high)
        return Quantity(begun_s, 0.0, begun_s, "s")

    def agrees(self, law: _FittedShape, times: Mapping[float, float]) -> bool:
        """Tell whether a law does each share of the change when it was done, within `LIKE` and `STRETCH`.

        The rest it was fitted with may lie beyond the rest measured; its stretch is that of its own course.
        """
        hold, unknowns, rest_db = law.fitted.values[0], law.fitted.values[1:-1], law.fitted.values[-1]
        scale = (self.before_db - rest_db) / (self.before_db - self.after_db)
        u = np.geomspace(1e-3, 10.0, FINE) * max(times.values())
        done = 1 - law.shape(u, unknowns)[0]
        told, pure = (np.interp(list(times), by * done, u) for by in (scale, 1.0))
        own = np.array(list(times.values()))
        since = np.maximum(own - hold, u[0])
        stretch = (pure[-1] / pure[0]) / (since[-1] / since[0])
        like = np.all(np.abs((told + hold) / own - 1) < LIKE)
        # a knee rounds the end of a line
        return bool(like and (law.shape is _straight or abs(math.log(stretch)) < math.log1p(STRETCH)))


def _two_stages(simple: _FittedShape, two: _FittedShape, end_s: float, floor_db: float) -> bool:
    fast, slow = sorted(np.exp(two.fitted.values[1:3]))
    share = two.fitted.values[3]
    return bool(
        two.bic + CLEARLY < simple.bic
        and max(two.fitted.std(1), two.fitted.std(2)) < LOOSEST
        and max(two.rms_db, floor_db / 4) < WORTH * simple.rms_db
        and slow > APART * fast
        and slow < LONGEST * end_s
        and SMALLEST_SHARE < share < 1 - SMALLEST_SHARE
    )


def _log_quantity(law: _FittedShape, index: int) -> Quantity:
    """Interval of a constant that was fitted as its logarithm."""
    value, std = math.exp(law.fitted.values[index]), law.fitted.std(index)
    return Quantity(value, value * math.exp(-1.96 * std), value * math.exp(1.96 * std), "s")


def _none(unit: str, reason: str) -> Unmeasured:
    return Unmeasured(unit, reason, "look at the gain trace and the named times")


def _one(law: _FittedShape, t63: Quantity, t90: Quantity | None, hold: Quantity) -> ReleaseKind:
    """One exponential; its constant is that between the named times where these deny the fitted one.

    The fit lays a hold before what a detector's own fall rounds, and its constant bends with it.
    """
    single, tau = "the movement is one exponential: there is no second stage", _log_quantity(law, 1)
    if t90 is not None:
        own = Quantity.from_std((t90.value - t63.value) / (math.log(10) - 1), tau.std, "s")
        unsure_s = Z95 * math.hypot(math.hypot(t63.std, t90.std) / (math.log(10) - 1), tau.std)
        value = own.value if abs(own.value - tau.value) > unsure_s else tau.value
        tau = Quantity(value, min(tau.low, own.low), max(tau.high, own.high), "s")
    return ReleaseKind(
        "exponential", Quantity(1, 1, 1, "1"), tau, _none("s", single), _none("%", single),
        hold, _none("dB/s", "the movement is exponential, not straight"),
    )  # fmt: skip


def _straight_kind(law: _FittedShape, change_db: float, hold: Quantity) -> ReleaseKind:
    straight = "the movement is a straight line in dB: it has a rate, not a time constant"
    span = math.exp(law.fitted.values[1])
    rate = change_db / span
    std = abs(rate) * math.hypot(law.fitted.std(1), BOW * law.rms_db / abs(change_db))
    return ReleaseKind(
        "straight", _none("1", straight), _none("s", straight), _none("s", straight), _none("%", straight),
        hold, Quantity.from_std(rate, std, "dB/s"),
    )  # fmt: skip


def _two(law: _FittedShape, hold: Quantity) -> ReleaseKind:
    fast, slow = (1, 2) if law.fitted.values[1] < law.fitted.values[2] else (2, 1)
    share = law.fitted.values[3] if fast == 1 else 1 - law.fitted.values[3]
    std = law.fitted.std(3)
    return ReleaseKind(
        "two-stage", Quantity(2, 2, 2, "1"), _log_quantity(law, fast), _log_quantity(law, slow),
        Quantity.from_std(100 * share, 100 * std, "%"), hold,
        _none("dB/s", "the movement is exponential in two stages, not straight"),
    )  # fmt: skip


def _other(reason: str) -> ReleaseKind:
    return ReleaseKind("other", *(_none(unit, reason) for unit in ("1", "s", "s", "%", "s", "dB/s")))
