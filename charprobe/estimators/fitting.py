"""Nonlinear least squares: what was fitted, its covariance, and the evidence by which models are chosen."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy

from charprobe.values.arrays import Array


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
    residuals: Callable[[Array], Array],
    start: Sequence[float] | Array,
    *,
    bounds: tuple[Sequence[float], Sequence[float]],
    scale: Array | Literal["jac"],
    rounds: int,
    tolerance: float,
) -> Fitted:
    """Fit unknowns within their ranges by least squares.

    Parameters
    ----------
    residuals : callable
        Distances of the data from the model in standard uncertainties, from the unknowns.
    start : sequence of float
        First guess, inside `bounds`.
    bounds : tuple of sequence of float
        Lowest and highest values, infinite where there is none.
    scale : ndarray or "jac"
        How far each unknown moves for a like effect, or "jac" to read that from the derivatives.
    rounds : int > 0
        Most evaluations.
    tolerance : float > 0
        Relative change of sum, unknowns or slope at which the search stops.

    Examples
    --------
    >>> x = np.linspace(0, 3, 40)
    >>> y = 2.0 * np.exp(-x / 0.5)
    >>> free = ([-np.inf, 0.01], [np.inf, np.inf])
    >>> def misfit(p):
    ...     return (p[0] * np.exp(-x / p[1]) - y) / 0.1
    >>> found = fit_unknowns(misfit, [1.0, 1.0], bounds=free, scale="jac", rounds=60, tolerance=1e-10)
    >>> found.values.round(6).tolist()
    [2.0, 0.5]
    """
    found = scipy.optimize.least_squares(
        residuals, start, bounds=bounds, x_scale=scale, max_nfev=rounds,
        ftol=tolerance, xtol=tolerance, gtol=tolerance,
    )  # fmt: skip
    jacobian: Array = np.asarray(found.jac)
    covariance: Array = np.asarray(np.linalg.pinv(jacobian.T @ jacobian))
    return Fitted(np.asarray(found.x), covariance, np.asarray(found.fun), bool(np.any(found.active_mask)))


def aicc(chi2: float, *, points: int, unknowns: int) -> float:
    """Return Akaike's criterion, corrected for few points; the model with the smaller one is the better."""
    return chi2 + 2 * unknowns + 2 * unknowns * (unknowns + 1) / max(1, points - unknowns - 1)


def bic(chi2: float, *, points: int, unknowns: int) -> float:
    """Return the Bayesian information criterion, which asks more of a richer model than `aicc` does."""
    return chi2 + unknowns * math.log(points)
