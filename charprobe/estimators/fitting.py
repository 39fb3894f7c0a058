"""Nonlinear least squares: what was fitted, its covariance, and the evidence by which models are chosen."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from charprobe.values.arrays import Array

At = TypeVar("At", bound="Place")
FIRST_DAMPING, LEAST_DAMPING, MOST_DAMPING = 1e-3, 1e-9, 1e9  # of steps, re the diagonal of the normal matrix
FAINTEST = 1e-9  # share of the largest diagonal that an unknown without effect is damped by


@dataclass(frozen=True)
class Fitted:
    """Unknowns that make a sum of squares least.

    Attributes
    ----------
    values : ndarray, shape (k,)
        The unknowns.
    covariance : ndarray, shape (k, k)
        Of the unknowns, for residuals of unit variance.
    residuals : ndarray, shape (n,)
        What is left, in standard uncertainties.
    at_bound : bool
        Whether an unknown ended at a bound of its range.
    """

    values: Array
    covariance: Array
    residuals: Array
    at_bound: bool

    @property
    def chi2(self) -> float:
        """Sum of the squared residuals."""
        return float(self.residuals @ self.residuals)

    def std(self, unknown: int) -> float:
        """Standard uncertainty of one unknown, for residuals of unit variance."""
        return math.sqrt(max(0.0, float(self.covariance[unknown, unknown])))


def fit_unknowns(
    model: Callable[[Array], tuple[Array, Array]],
    start: Sequence[float] | Array,
    *,
    bounds: tuple[Sequence[float], Sequence[float]],
    rounds: int,
    tolerance: float,
) -> Fitted:
    """Fit unknowns within their ranges by least squares, with damped Gauss-Newton steps.

    Parameters
    ----------
    model : callable
        From the unknowns, distances of the data from the model in standard uncertainties, shape (n,), and
        their derivatives by each unknown, shape (n, k).
    start : sequence of float
        First guess, inside `bounds`.
    bounds : tuple of sequence of float
        Lowest and highest values, infinite where there is none.
    rounds : int > 0
        Most evaluations.
    tolerance : float > 0
        Relative fall of the sum of squares at which the search stops.

    Notes
    -----
    An unknown at a bound stays there for as long as the sum of squares would fall beyond it.

    Examples
    --------
    >>> x = np.linspace(0, 3, 40)
    >>> y = 2.0 * np.exp(-x / 0.5)
    >>> free = ([-np.inf, 0.01], [np.inf, np.inf])
    >>> def misfit(p):
    ...     decay = np.exp(-x / p[1])
    ...     return (p[0] * decay - y) / 0.1, np.stack([decay, p[0] * decay * x / p[1] ** 2], axis=1) / 0.1
    >>> found = fit_unknowns(misfit, [1.0, 1.0], bounds=free, rounds=60, tolerance=1e-10)
    >>> found.values.round(6).tolist()
    [2.0, 0.5]
    """

    def at(values: Array) -> _Residuals:
        residuals, slopes = model(values)
        return _Residuals(float(residuals @ residuals), -(residuals @ slopes), slopes.T @ slopes, residuals)

    values, found = descend(at, start, bounds=bounds, rounds=rounds, tolerance=tolerance)
    covariance: Array = np.asarray(np.linalg.pinv(found.normal))
    at_bound = any(not least < at < most for at, least, most in zip(values.tolist(), *bounds, strict=True))
    return Fitted(values, covariance, found.residuals, at_bound)


@dataclass(frozen=True)
class Place:
    """A sum of squares at some unknowns, where it falls to (minus half its slopes), and its normal matrix."""

    cost: float
    downhill: Array
    normal: Array


@dataclass(frozen=True)
class _Residuals(Place):
    residuals: Array


def descend(
    at: Callable[[Array], At],
    start: Sequence[float] | Array,
    *,
    bounds: tuple[Sequence[float], Sequence[float]],
    rounds: int,
    tolerance: float,
) -> tuple[Array, At]:
    """Find the unknowns at which a sum of squares is least; see `fit_unknowns`, which knows its residuals."""
    low, high = (np.asarray(bound, dtype=np.float64) for bound in bounds)
    values = np.minimum(np.maximum(np.asarray(start, dtype=np.float64), low), high)
    here, damping = at(values), FIRST_DAMPING
    for _ in range(rounds):
        sides = zip(values.tolist(), *bounds, here.downhill.tolist(), strict=True)
        free = [
            unknown
            for unknown, (at_, least, most, fall) in enumerate(sides)
            if (at_ > least or fall > 0) and (at_ < most or fall < 0)
        ]
        damped, wanted = here.normal.copy(), here.downhill
        if len(free) < values.size:
            damped, wanted = damped[np.ix_(free, free)], wanted[free]
        diagonal = damped.reshape(-1)[:: len(free) + 1]  # seen in its place
        if not free or not (most := float(diagonal.max())):
            break
        diagonal += damping * (diagonal + FAINTEST * most)
        trial = values.copy()
        trial[free] += np.linalg.solve(damped, wanted)
        trial = np.minimum(np.maximum(trial, low), high)
        there = at(trial)
        done = abs(here.cost - there.cost) <= tolerance * here.cost and damping < 1
        if there.cost <= here.cost:
            values, here = trial, there
            damping = max(LEAST_DAMPING, damping / 9)
        else:
            damping = max(FIRST_DAMPING, 6 * damping)  # less would try the same once more
        if done or damping > MOST_DAMPING:
            break
    return values, here


def aicc(chi2: float, *, points: int, unknowns: int) -> float:
    """Return Akaike's criterion, corrected for few points; the model with the smaller one is the better."""
    return chi2 + 2 * unknowns + 2 * unknowns * (unknowns + 1) / max(1, points - unknowns - 1)


def bic(chi2: float, *, points: int, unknowns: int) -> float:
    """Return the Bayesian information criterion, which asks more of a richer model than `aicc` does."""
    return chi2 + unknowns * math.log(points)
