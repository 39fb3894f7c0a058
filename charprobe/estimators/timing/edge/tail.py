"""The end of a movement carried on to where it comes to rest, by laws that may be unlike an exponential."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.fitting import Place, descend
from charprobe.values.arrays import Array

SIGNIFICANT = 4.0  # standard deviations by which a scatter must exceed that of noise
TAUS = 24  # time constants tried for a first guess
SHORTEST, LONGEST = 0.03, 5.0  # time constants, as shares of the stretch
SERIES = 1e-3  # power below which a law of powers is its own series


@dataclass(frozen=True)
class Law:
    """A share left to go after x time constants, with its derivatives by log(tau) and by how bent it is.

    How bent it is begins at `first`, is held there by `unlike` as if measured, and stays within limits.
    """

    left: Callable[[Array, float], tuple[Array, Array, Array]]
    first: float
    unlike: float
    limits: tuple[float, float]


@dataclass(frozen=True)
class Tail:
    """Where a movement comes to rest, its value at a given time, and the scatter beyond noise."""

    rest_db: float
    rest_std_db: float
    at_db: float
    at_std_db: float
    unrest: float


def fit_tail(t: Array, g: Array, s: Array, *, at_s: float) -> Tail:
    """Carry the end of a movement on to rest.

    Parameters
    ----------
    t, g, s : ndarray, shape (n,)
        Times in s, gains and their standard uncertainties in dB.
    at_s : float
        Time at which the value is asked for, in s.

    Notes
    -----
    With r the distance from rest, r0 that at the first point, one of four laws: the faster the farther
    from rest, as opto cells are, ``r' = -r (1 + k r / r0) / tau``; a line that ends as an exponential, as a
    smoothed power seen in dB does, ``r' = -(1 - exp(-k r / r0)) / tau``; a factor that is smoothed, seen in
    dB, ``r' = -(exp(k r / r0) - 1) / tau``; one that ends (p > 0) or creeps
    (p < 0), ``r' = -(r / r0) ** (1 - p) / tau``. All are exponentials where k or p is small, and held there
    as if that had been measured. They are averaged, each weighted by its likelihood: what the points do not
    tell about the law is in the interval.
    """
    start = _first_guess(t - t[0], g, s)
    found = [_fitted(law, start, t, g, s, at_s=at_s) for law in LAWS]
    least = min(cost for cost, _ in found)
    scale = max(1.0, least / max(1, t.size - 4))
    weights = np.exp([(least - cost) / 2 / scale for cost, _ in found])
    weights /= weights.sum()
    tails = np.array([[tail.rest_db, tail.rest_std_db, tail.at_db, tail.at_std_db] for _, tail in found])
    rest, at = weights @ tails[:, 0], weights @ tails[:, 2]
    rest_std, at_std = (
        math.sqrt(weights @ (scale * tails[:, i + 1] ** 2 + (tails[:, i] - mean) ** 2))
        for i, mean in ((0, rest), (2, at))
    )
    return Tail(float(rest), rest_std, float(at), at_std, unrest(scale, s))


def unrest(chi_square: float, std_db: Array) -> float:
    """Scatter in dB beyond the noise, from chi-square per degree of freedom."""
    chance = 1 + SIGNIFICANT * math.sqrt(2 / std_db.size)
    return math.sqrt((chi_square - 1) * float(np.mean(std_db**-2.0)) ** -1) if chi_square > chance else 0.0


def _fitted(law: Law, start: float, t: Array, g: Array, s: Array, *, at_s: float) -> tuple[float, Tail]:
    """Fit one law to points of unit chi-square: its misfit, and where it leads.

    Rest and size follow from time constant and bend in each round (variable projection): with all four sought
    the way led through a narrow valley, and a fifth of the searches ended in it.
    """
    n, since, span = t.size, t - t[0], float(t[-1] - t[0])
    weights = s**-2.0
    total = float(weights.sum())
    sound = g - float(weights @ g) / total  # a rest takes the means of all
    weighted = weights * sound

    def at(p: Array) -> Place:
        """The misfit with the rest and size that make it least, and its slopes without what these take."""
        log_tau, bend = p.tolist()
        rows = np.array(law.left(since / math.exp(log_tau), bend))
        rows -= ((rows @ weights) / total)[:, None]
        heavy = rows * weights
        of_left, of_log_tau, of_bend = (heavy @ rows.T).tolist()
        energy = of_left[0]
        size = float(rows[0] @ weighted) / energy
        left_over = sound - size * rows[0]
        held = (bend - law.first) / law.unlike
        cost = float(left_over @ (left_over * weights)) + held * held
        tau, curve = (size * each for each in (heavy[1:] @ left_over).tolist())
        squares = (
            of_log_tau[1] - of_left[1] ** 2 / energy,
            of_log_tau[2] - of_left[1] * of_left[2] / energy,
            of_bend[2] - of_left[2] ** 2 / energy,
        )
        first, across, last = (size * size * each for each in squares)
        first, last = max(first, 0.0), max(last, 0.0)  # they are never less but for rounding
        downhill = np.array([tau, curve - held / law.unlike])
        return Place(cost, downhill, np.array([[first, across], [across, last + law.unlike**-2.0]]))

    shortest, longest = math.log(SHORTEST * span), math.log(LONGEST * span)
    free = ([shortest, law.limits[0]], [longest, law.limits[1]])
    values, least = descend(at, [start, law.first], bounds=free, rounds=60, tolerance=1e-5)
    log_tau, bend = values.tolist()
    left, by_log_tau, by_bend = law.left(np.append(since, at_s - t[0]) / math.exp(log_tau), bend)
    middle = float(left[:n] @ weights) / total
    size = float(left[:n] @ weighted) / float((left[:n] - middle) ** 2 @ weights)
    rest = float(weights @ g) / total - size * middle
    whole = np.stack([np.ones(n + 1), left, size * by_log_tau, size * by_bend])
    normal = (whole[:, :n] * weights) @ whole[:, :n].T
    normal[3, 3] += law.unlike**-2.0
    covariance, by = np.linalg.pinv(normal), whole[:, n]
    # a time constant at the end of its range tells of no rest: all that is still to go is doubt
    beyond = abs(size) * float(left[n]) if log_tau > longest - 1e-6 else 0.0
    rest_var, at_var = float(covariance[0, 0]), float(by @ covariance @ by)
    rest_std, at_std = (math.sqrt(max(0.0, variance)) for variance in (rest_var, at_var))
    return least.cost, Tail(rest, math.hypot(rest_std, beyond), rest + size * float(left[n]), at_std, 0.0)


def _first_guess(since: Array, g: Array, s: Array) -> float:
    """Logarithm of the time constant of the best of some exponentials."""
    taus = since[-1] * np.geomspace(2 * SHORTEST, LONGEST / 2, TAUS)
    weights, decay = s**-2.0, np.exp(-since / taus[:, None])
    ones, once, twice = float(weights.sum()), decay @ weights, (decay * decay) @ weights
    level, shape = float(weights @ g), decay @ (weights * g)
    determinant = ones * twice - once**2
    rest, size = (twice * level - once * shape) / determinant, (ones * shape - once * level) / determinant
    best = int(np.argmin(np.square(g - rest[:, None] - size[:, None] * decay) @ weights))
    return math.log(taus[best])


def _hastening(x: Array, log_k: float) -> tuple[Array, Array, Array]:
    decay, more = np.exp(-x), math.exp(log_k)
    slower = 1 + more * (1 - decay)
    return decay / slower, decay * (1 + more) * x / slower**2, -more * decay * (1 - decay) / slower**2


def _straight_first(x: Array, log_k: float) -> tuple[Array, Array, Array]:
    far = math.exp(log_k)
    grown = math.expm1(far) * np.exp(-x)
    left = np.log1p(grown) / far
    return left, grown / (1 + grown) * x / far, math.exp(far) * np.exp(-x) / (1 + grown) - left


def _hastening_first(x: Array, log_k: float) -> tuple[Array, Array, Array]:
    far = math.exp(log_k)
    begun = -math.expm1(-far) * np.exp(-x)
    left = -np.log1p(-begun) / far
    return left, begun / (1 - begun) * x / far, math.exp(-far) * np.exp(-x) / (1 - begun) - left


def _power(x: Array, p: float) -> tuple[Array, Array, Array]:
    if abs(p) < SERIES:
        left = np.exp(-x) * (1 - p * x * x / 2)
        return left, left * x / (1 - p * x), -np.exp(-x) * x * x / 2
    base = np.maximum(1 - p * x, 1e-12)
    left = base ** (1 / p)
    return left, left * x / base, -left * (np.log(base) / p**2 + x / (p * base))


LAWS = (
    Law(_hastening, -1.5, 1.5, (-6.0, 5.0)),
    Law(_straight_first, -1.5, 1.5, (-6.0, 3.0)),
    Law(_hastening_first, -1.5, 1.5, (-6.0, 3.0)),
    Law(_power, 0.0, 0.3, (-1.0, 1.0)),
)
