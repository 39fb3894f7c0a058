"""Settling of level steps: where the gain within each step is heading, and how far it still had to go."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from charprobe.values.arrays import Array, Flags, Index

SIGNIFICANT = 3.0  # a drift over several steps larger than this many standard uncertainties is motion
FALSE_ALARMS = 0.01  # chance that noise alone makes any one step of a segment look as if it moved
POOLED = (3, 7)  # steps in a row over which a drift is looked for
MOST_POOLED = 2.0  # score that one step adds at most: a strong motion must not spill over to its neighbours
JUDGED_DB = 0.1  # a step whose level is known less well could not show motion: never called settled
SETTLED_DB = 0.01  # a step with less than this left to go, interval included, counts as settled
MODEL_SHARE = 0.1  # standard uncertainty of an extrapolation for its model, as a share of its length
TIME_CONSTANTS, FINE = 48, 4  # number tried; so many times more where small differences matter
CREEPS = 24  # the same of movements that creep
RARE = (
    4.5  # by which a creep's logarithm of likelihood must be the better: as much as three standard deviations
)
INEXACT = 0.01  # share of the motion within a trace that counts as noise: no smoother is exactly exponential
UNLIKE = 3.0  # standard deviations of chi squared beyond which steps do not share one time constant
VISIBLE = 6.0  # standard uncertainties of a window: a motion of that size within a step would be seen
KIN = 2.0  # steps; how far neighbours inform each other on the time constant where they do not
SHORTEST, LONGEST = 0.04, 20.0  # range of time constants tried, in lengths of the trace
LARGE = 50.0  # logarithm of more than any motion could have been
ONE_MORE = (
    9.0  # fall of chi squared by which one step speaks for a slower stage: three standard uncertainties
)
ROW, KEPT_UP = 5, 3.0  # steps in a row that speak for it together, and by how much each on average
TAIL, SHORT = (
    0.45,
    0.3,
)  # shares of a trace at its end of which one must be flat where no law fits the way there
WANDERS = 3.0  # of the scatter that no law fits: a gain that wanders does so for several windows on end
SLOWER_S = 3.0  # a slower stage still at work under the exponential may take this long


@dataclass(frozen=True)
class StepSettling:
    """Verdict on each step, shape (k,).

    Attributes
    ----------
    moving : ndarray of bool
        Whether the gain still moves significantly.
    settled : ndarray of bool
        Whether less than `SETTLED_DB` is left to go, interval included.
    remaining_db : ndarray
        Where the gain is heading minus its mean over the late part of the trace; 0 where nothing moves.
    remaining_std_db : ndarray
        Standard uncertainty of `remaining_db`, with the choice of the time constant and a share for
        the model itself.
    """

    moving: Flags
    settled: Flags
    remaining_db: Array
    remaining_std_db: Array


def judge_settling(
    gain_db: Array, *, edges_s: Array, std_db: Array, late_from_s: float, step_s: float
) -> StepSettling:
    """Judge from the gain trace within each step whether it has settled, and extrapolate if not.

    Parameters
    ----------
    gain_db : ndarray, shape (k, m)
        Gain of k steps in playing order, in m successive windows each; m at least 4.
    edges_s : ndarray, shape (m + 1,)
        Borders of the windows, in s from the start of the step.
    std_db : ndarray, shape (k,)
        Standard uncertainty of one window of each step, above 0.
    late_from_s : float
        Start of the late part whose mean `StepSettling.remaining_db` is counted from.
    step_s : float
        Time from the start of one step to the next, in s.

    Returns
    -------
    StepSettling

    Notes
    -----
    Model: ``a + b exp(-t / tau)`` or ``a + b / (1 + t / tau)**2``, which is how a detector that keeps what it
    has creeps to the crests of a wave; one law and time constant are shared by all steps whose gain rises and
    one by those whose gain falls. They are not fixed but averaged over, each weighted by its likelihood;
    where the steps disagree, each has its own and only learns from its neighbours. Many steps are looked at,
    so a lone one moves only if its drift is larger than noise makes any of them; a drift too faint in one
    step but kept up over three or seven in a row counts as motion, and so does a step in which an unfinished
    motion of the one before must still go on, seen or not; so do the first steps of all if the gain is found
    rising later, as what was played before may still be recovered from. `MODEL_SHARE` of the extrapolated
    distance allows for level-domain smoothers, and a straight line that shows under the exponential for a
    slower stage, which is then granted `SLOWER_S`; so is a motion that would count as over but is slower than
    its trace is long, beside one that is not over. Where neither fits, the gain gets there in a way of its
    own, and has arrived if the last part of the trace is flat, as flat as what scatters there tells; a gain
    that wanders has arrived if the whole trace heads nowhere.
    """
    middle = (edges_s[1:] + edges_s[:-1]) / 2
    centred = middle - middle.mean()
    score = gain_db @ centred / np.sqrt(centred @ centred) / std_db
    lone = NormalDist().inv_cdf(1 - FALSE_ALARMS / (2 * score.size))
    scores = np.array([score / lone, *(_pooled(score, steps) / SIGNIFICANT for steps in POOLED)])
    surest = scores[np.argmax(np.abs(scores), axis=0), np.arange(score.size)]
    moving, heading = (np.abs(surest) > 1) & (surest * score > 0), surest > 0
    first = _both_ways(moving, heading, gain_db, edges_s, std_db, late_from_s)
    moving, heading, unseen_db = _carried_on(moving, heading, *first, step_s, VISIBLE * std_db)
    remaining, std, tau_s = _both_ways(moving, heading, gain_db, edges_s, std_db, late_from_s)
    std = np.hypot(std, unseen_db)
    over = np.abs(remaining) + 2 * std <= SETTLED_DB
    slow = moving & over & (tau_s > edges_s[-1] - edges_s[0]) & _beside(moving & ~over, heading)
    std = np.hypot(std, np.where(slow, SLOWER_S * (gain_db @ centred) / (centred @ centred), 0.0))
    late = edges_s[:-1] >= late_from_s - 1e-9
    if moving.any():
        slope, unlike_db = _slower_stage(gain_db[moving], edges_s, std_db[moving])
        std[moving] = np.hypot(std[moving], SLOWER_S * slope)
        which = np.flatnonzero(moving)
        own_db = np.minimum(std_db, _late_scatter(gain_db))  # a kink on the way there adds to the other
        wander_db = std_db.copy()
        wander_db[which] = np.maximum(std_db[which], WANDERS * unlike_db)
        wandering = np.where(_headed(score * std_db / wander_db), 0.0, wander_db)
        ways = ((own_db, SHORT, 2), (own_db, TAIL, 2), (std_db, TAIL, 1), (wandering, 1.0, 1))
        for scatter_db, share, degree in ways:
            rest_db, rest_std = _at_rest(_tail(gain_db[which], share), scatter_db[which], degree=degree)
            ended = (unlike_db > np.minimum(scatter_db, std_db)[which]) & (rest_std < SETTLED_DB / 2)
            arrived = which[ended]
            remaining[arrived] = (rest_db - gain_db[which][:, late].mean(axis=1))[ended]
            std[arrived], moving[arrived] = rest_std[ended], False
    judged = std_db / np.sqrt(np.count_nonzero(late)) <= JUDGED_DB
    settled = judged & (~moving | (np.abs(remaining) + 2 * std <= SETTLED_DB))
    return StepSettling(moving, settled, remaining, std)


def _beside(steps: Flags, heading: Flags) -> Flags:
    """Which steps come right before or after one of some steps, heading the same way."""
    near = np.zeros(steps.size, bool)
    same = heading[1:] == heading[:-1]
    near[1:] |= steps[:-1] & same
    near[:-1] |= steps[1:] & same
    return near


def _pooled(score: Array, steps: int) -> Array:
    """Combine the scores of so many steps in a row around each, as one score; no single one may decide."""
    ones = np.ones(min(steps, score.size))
    total = np.convolve(np.clip(score, -MOST_POOLED, MOST_POOLED), ones, mode="same")
    return np.asarray(total / np.sqrt(np.convolve(np.ones(score.size), ones, mode="same")))


def _headed(score: Array) -> Flags:
    """Whether steps in a row drift the same way together, by more than what wanders in each."""
    return np.asarray(np.any([np.abs(_pooled(score, steps)) > SIGNIFICANT for steps in POOLED], axis=0))


def _both_ways(
    moving: Flags, heading: Flags, gain_db: Array, edges_s: Array, std_db: Array, late_from_s: float
) -> tuple[Array, Array, Array]:
    """Extrapolate rising and falling gains apart: left to go, its uncertainty, time constant in s."""
    result = np.zeros((3, moving.size))
    for chosen in (moving & heading, moving & ~heading):
        if np.any(chosen):
            result[:, chosen] = _extrapolate(gain_db[chosen], edges_s, std_db[chosen], late_from_s)
    return result[0], result[1], result[2]


def _carried_on(
    moving: Flags,
    heading: Flags,
    remaining_db: Array,
    std_db: Array,
    tau_s: Array,
    step_s: float,
    visible_db: Array,
) -> tuple[Flags, Flags, Array]:
    """Mark steps in which the motion of another must be at work too, before or after it: seen or not.

    Returns the marks, the headings, and what may be left in each step that is not marked, in dB.
    """
    moving, heading, unseen_db = moving.copy(), heading.copy(), np.zeros(moving.size)
    at_end = np.abs(remaining_db) + std_db
    first = int(np.argmax(moving)) if moving.any() else moving.size
    if first < moving.size and heading[first]:  # it may be a recovery that had begun before the first step
        steps = min(step_s / float(tau_s[first]), LONGEST)
        before = at_end[first] * np.exp(np.minimum(np.arange(first, 0, -1) * steps, LARGE))
        if np.all(before * (1 - np.exp(-steps)) < visible_db[:first]):
            unseen_db[:first], heading[:first] = before, True
    left, tau = 0.0, 1.0
    for i in range(first, moving.size):
        left *= float(np.exp(-step_s / tau))
        if moving[i]:
            left, tau = float(at_end[i]), float(tau_s[i])
        else:
            unseen_db[i], heading[i] = left, heading[i - 1]
    carried = unseen_db > SETTLED_DB / 4
    return moving | carried, heading, np.where(carried, 0.0, unseen_db)


def _late_scatter(gain_db: Array) -> Array:
    """Scatter of one window late in each step and in its neighbours: a kink before that adds none."""
    square = np.mean(np.diff(_tail(gain_db, TAIL), n=3, axis=1) ** 2, axis=1)
    row = np.ones(min(ROW, square.size))
    near = np.convolve(square, row, mode="same") / np.convolve(np.ones(square.size), row, mode="same")
    return np.asarray(np.sqrt(near / 20.0))


def _tail(gain_db: Array, share: float) -> Array:
    return gain_db[:, -max(4, round(share * gain_db.shape[1])) :]


def _at_rest(tail_db: Array, std_db: Array, *, degree: int) -> tuple[Array, Array]:
    """Mean of the last part of each trace, and how far that may lie from a rest; infinite where it moves.

    It moves if a line through it runs, or with `degree` 2 also if it bends.
    """
    at = np.linspace(-0.5, 0.5, tail_db.shape[1])
    square, still = np.zeros(std_db.size), np.full(std_db.size, True)
    for shape in (at, at**2 - np.mean(at**2))[:degree]:
        reach = np.ptp(shape) / (shape @ shape)
        change, spread = reach * (tail_db @ shape), reach * std_db * np.sqrt(shape @ shape)
        still &= np.abs(change) < SIGNIFICANT * spread
        square += change**2 + spread**2
    return tail_db.mean(axis=1), np.where(still, np.sqrt(square), np.inf)


def _slower_stage(gain_db: Array, edges_s: Array, std_db: Array) -> tuple[Array, Array]:
    """Slope of a line under the exponential, in dB/s, 0 where none shows; and scatter that neither fits."""
    middle = (edges_s[1:] + edges_s[:-1]) / 2
    std_db = np.hypot(std_db, INEXACT * np.ptp(gain_db, axis=1))
    tau = np.geomspace(SHORTEST, LONGEST, FINE * TIME_CONSTANTS) * float(edges_s[-1] - edges_s[0])
    decay = np.exp((middle[0] - middle) / tau[:, None])
    line = np.broadcast_to(middle - middle.mean(), decay.shape)
    plain = np.stack([np.ones_like(decay), decay], axis=2)
    lined = np.stack([np.ones_like(decay), decay, line], axis=2)
    alone, _, _ = _best_of(plain, gain_db)
    under, (_, fast, slope), which = _best_of(lined, gain_db)
    at_end = (
        slope - fast * decay[which, -1] / tau[which]
    )  # where both bend alike, they take turns to be large
    slope = np.minimum(np.abs(slope), np.abs(at_end))
    dof = max(1, middle.size - 4)  # four windows fit whatever comes, and deny nothing
    unlike_db = np.sqrt(under / (dof + UNLIKE * np.sqrt(2 * dof)))
    spoken = (alone - under) / std_db**2
    row = np.ones(min(ROW, spoken.size))
    kept_up = np.convolve(np.minimum(spoken, ONE_MORE), row, mode="same") > KEPT_UP * np.convolve(
        np.ones(spoken.size), row, mode="same"
    )
    return np.where((spoken > ONE_MORE) | kept_up, slope, 0.0), unlike_db


def _best_of(bases: Array, gain_db: Array) -> tuple[Array, Array, Index]:
    """Least squares on the best of bases of shape (b, m, c): misfit, coefficients (c, k), which basis."""
    fitted = np.linalg.pinv(bases) @ gain_db.T
    misfit = np.sum((gain_db.T - bases @ fitted) ** 2, axis=1)
    best, steps = np.argmin(misfit, axis=0), np.arange(gain_db.shape[0])
    return misfit[best, steps], fitted[best, :, steps].T, best


def _extrapolate(
    gain_db: Array, edges_s: Array, std_db: Array, late_from_s: float
) -> tuple[Array, Array, Array]:
    """Return left to go, its standard uncertainty and time constant for steps that move the same way."""
    origin = edges_s[0]
    late = edges_s[:-1] >= late_from_s - 1e-9
    windows = gain_db.shape[1]
    std_db = np.hypot(std_db, INEXACT * np.ptp(gain_db, axis=1))
    laws = _decays(edges_s - origin)
    bases = np.stack([np.ones_like(laws.shares), laws.shares], axis=2)
    inverses = np.linalg.pinv(bases)
    misfit = np.sum((gain_db.T - bases @ (inverses @ gain_db.T)) ** 2, axis=1) / std_db**2
    # what is left to go is linear in the trace: its weights give value and variance alike
    weights = inverses[:, 0] - late / late.sum()
    left, variance = weights @ gain_db.T, np.sum(weights**2, axis=1)[:, None] * std_db**2
    own_dispersion = np.maximum(1.0, misfit.min(axis=0) / max(1, windows - 3))
    told = _shared(-0.5 * misfit / own_dispersion)
    likely, weight = (_normal(log_weight) for log_weight in (told, told - laws.rarity[:, None]))
    mean = np.sum(weight * left, axis=0)
    # a law may be rare and be the one: where the points do not tell it apart, it counts as doubt
    spread = np.sum(likely * ((left - mean) ** 2 + variance * own_dispersion), axis=0)
    tau_s = np.exp(np.log(laws.tau_s) @ weight)
    return mean, np.sqrt(spread + (MODEL_SHARE * mean) ** 2), tau_s


def _normal(log_weight: Array) -> Array:
    """Weights that add up to 1, from their logarithms; a column for each step."""
    weight = np.exp(log_weight - log_weight.max(axis=0))
    return np.asarray(weight / weight.sum(axis=0))


@dataclass(frozen=True)
class _Decays:
    """Shares left in each window by many laws, a row each, time constants at their end in s, and rarity."""

    shares: Array
    tau_s: Array
    rarity: Array


def _decays(edges_s: Array) -> _Decays:
    """Exponentials, and movements that creep; `edges_s` begins at 0."""
    length, widths = float(edges_s[-1]), np.diff(edges_s)
    taus, creeps = (length * np.geomspace(SHORTEST, LONGEST, n)[:, None] for n in (TIME_CONSTANTS, CREEPS))
    whole = np.vstack([-taus * np.exp(-edges_s / taus), -creeps / (1 + edges_s / creeps)])
    at_end = np.concatenate([taus[:, 0], (creeps[:, 0] + length) / 2])
    rarity = np.repeat([0.0, RARE], [TIME_CONSTANTS, CREEPS])
    return _Decays(np.diff(whole, axis=1) / widths, at_end, rarity)


def _shared(log_likelihood: Array) -> Array:
    """Let steps inform each other on the time constant; shapes (time constants, k) in and out.

    If one time constant fits all steps, their likelihoods multiply. If not, each keeps its own, weighted by a
    prior that is the mixture of its neighbours' likelihoods, nearer ones counting more.
    """
    together = log_likelihood.sum(axis=1)
    apart = 2 * float(log_likelihood.max(axis=0).sum() - together.max())  # chi squared with steps - 1 degrees
    others = log_likelihood.shape[1] - 1
    if apart <= others + UNLIKE * np.sqrt(2 * others):
        return np.repeat(together[:, None], log_likelihood.shape[1], axis=1)
    likelihood = np.exp(log_likelihood - log_likelihood.max(axis=0))
    likelihood /= likelihood.sum(axis=0)
    order = np.arange(log_likelihood.shape[1])
    kinship = np.exp(-np.abs(order[:, None] - order) / KIN)
    prior = likelihood @ kinship
    return np.asarray(log_likelihood + np.log(prior + 1e-12))
