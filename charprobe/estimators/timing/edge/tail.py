"""The end of a movement carried on to where it comes to rest, by laws that may be unlike an exponential."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.fitting import fit_unknowns
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
    With r the distance from rest, r0 that at the first point, one of three laws: the faster the farther
    from rest, as opto cells are, ``r' = -r (1 + k r / r0) / tau``; a line that ends as an exponential, as a
    smoothed power seen in dB does, ``r' = -(1 - exp(-k r / r0)) / tau``; one that ends (p > 0) or creeps
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


def _fitted(law: Law, start: list[float], t: Array, g: Array, s: Array, *, at_s: float) -> tuple[float, Tail]:
    """Fit one law to points of unit chi-square: its misfit, and where it leads."""
    since, span = t - t[0], float(t[-1] - t[0])

    n = t.size
    held = np.zeros((n + 1, 4))  # slopes that stay; the last row: how bent it is, as if measured
    held[:n, 0], held[n, 3] = 1 / s, 1 / law.unlike

    def misfit(p: Array) -> tuple[Array, Array]:
        rest, size, log_tau, bend = p.tolist()
        left, by_log_tau, by_bend = law.left(since / math.exp(log_tau), bend)
        residuals, slopes = np.empty(n + 1), held.copy()
        residuals[:n], residuals[n] = (rest + size * left - g) / s, (bend - law.first) / law.unlike
        slopes[:n, 1] = left / s
        slopes[:n, 2], slopes[:n, 3] = size * by_log_tau / s, size * by_bend / s
        return residuals, slopes

    shortest, longest = math.log(SHORTEST * span), math.log(LONGEST * span)
    free = ([-np.inf, -np.inf, shortest, law.limits[0]], [np.inf, np.inf, longest, law.limits[1]])
    fitted = fit_unknowns(misfit, [*start, law.first], bounds=free, rounds=60, tolerance=1e-7)
    rest, size, log_tau, bend = fitted.values.tolist()
    left, by_log_tau, by_bend = law.left(np.array([(at_s - t[0]) / math.exp(log_tau)]), bend)
    by = np.array([1.0, left[0], size * by_log_tau[0], size * by_bend[0]])
    # a time constant at the end of its range tells of no rest: all that is still to go is doubt
    beyond = abs(size) * float(left[0]) if log_tau > longest - 1e-6 else 0.0
    at_std = math.sqrt(max(0.0, float(by @ fitted.covariance @ by)))
    return fitted.chi2, Tail(
        rest, math.hypot(fitted.std(0), beyond), float(rest + size * left[0]), at_std, 0.0
    )


def _first_guess(since: Array, g: Array, s: Array) -> list[float]:
    """Best of some exponentials: rest, size, logarithm of the time constant."""
    taus = since[-1] * np.geomspace(2 * SHORTEST, LONGEST / 2, TAUS)
    weights, decay = s**-2.0, np.exp(-since / taus[:, None])
    ones, once, twice = float(weights.sum()), decay @ weights, (decay * decay) @ weights
    level, shape = float(weights @ g), decay @ (weights * g)
    determinant = ones * twice - once**2
    rest, size = (twice * level - once * shape) / determinant, (ones * shape - once * level) / determinant
    best = int(np.argmin(np.square(g - rest[:, None] - size[:, None] * decay) @ weights))
    return [float(rest[best]), float(size[best]), math.log(taus[best])]


def _hastening(x: Array, log_k: float) -> tuple[Array, Array, Array]:
    decay, more = np.exp(-x), math.exp(log_k)
    slower = 1 + more * (1 - decay)
    return decay / slower, decay * (1 + more) * x / slower**2, -more * decay * (1 - decay) / slower**2


def _straight_first(x: Array, log_k: float) -> tuple[Array, Array, Array]:
    far = math.exp(log_k)
    grown = math.expm1(far) * np.exp(-x)
    left = np.log1p(grown) / far
    return left, grown / (1 + grown) * x / far, math.exp(far) * np.exp(-x) / (1 + grown) - left


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
    Law(_power, 0.0, 0.3, (-1.0, 1.0)),
)
