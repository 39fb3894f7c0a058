"""Nonlinear least squares over many samples and few numbers, within bounds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.values.arrays import Array, Index

SPRING = 1e-4
Predict = Callable[[Array], Array]  # rows of numbers, shape (k, p) -> rows of output, shape (k, m)


@dataclass(frozen=True)
class Knob:
    """One number that is fitted: where it stands, and how.

    Attributes
    ----------
    places : tuple of str
        Dotted places in the chain that carry it, all the same.
    low, high : float
        Bounds.
    logarithmic : bool
        Whether steps are taken in its logarithm.
    step : float
        Of differences, in its own unit or in its logarithm.
    far : float
        A change that is a large one, likewise: where hardly anything tells the number, no turn goes further.
    """

    places: tuple[str, ...]
    low: float
    high: float
    logarithmic: bool = False
    step: float = 1e-3
    far: float = 1.0

    def inner(self, value: float) -> float:
        """Where the fit stands at a value."""
        kept = min(max(value, self.low), self.high)
        return float(np.log(kept)) if self.logarithmic else float(kept)

    def outer(self, inner: float) -> float:
        """The value where the fit stands."""
        return float(np.exp(inner)) if self.logarithmic else float(inner)

    @property
    def bounds(self) -> tuple[float, float]:
        """Bounds where the fit stands."""
        return self.inner(self.low), self.inner(self.high)


@dataclass(frozen=True)
class Solution:
    """Where a fit ended.

    Attributes
    ----------
    values : ndarray, shape (p,)
        On the scale of `Knob.inner`.
    score : float
        Root-mean-square weighted error.
    covariance : ndarray, shape (p, p)
        On the same scale; from how the errors of whole blocks scatter.
    """

    values: Array
    score: float
    covariance: Array


def solve(
    predict: Predict, target: Array, weight: Array, block: Index, knobs: Sequence[Knob], start: Array, *,
    turns: int, enough: float,
) -> Solution:  # fmt: skip
    """Minimise the weighted squares of ``target - predict``.

    Parameters
    ----------
    predict : callable
        Takes rows of numbers on the scale of `Knob.inner`.
    target, weight : ndarray, shape (m,)
        What is to be met, and one over its standard error.
    block : ndarray of int, shape (m,)
        Rising numbers of blocks, within which errors hang together.
    knobs : sequence of Knob
        What is fitted.
    start : ndarray, shape (p,)
        First values, inside the bounds.
    turns : int
        Derivatives that may be taken.
    enough : float
        Relative gain of the squares at which a turn is the last.

    Notes
    -----
    Levenberg's damping on scaled columns; a number at its bound that pushes outwards is left out of the turn.
    Each number is held besides by a spring that costs `SPRING` of the squares over `Knob.far`: next to
    nothing where the output tells the number. The derivative of a number that ends at its bound is taken
    over as far as its interval reaches, for a knee next to none changes nothing at all.
    """
    low, high = (np.array(ends) for ends in zip(*(knob.bounds for knob in knobs), strict=True))
    steps, far = (np.array(sizes) for sizes in zip(*((knob.step, knob.far) for knob in knobs), strict=True))
    values = np.clip(start, low, high)
    damping, slopes = 1e-3, np.zeros((len(knobs), 0))
    error = (target - predict(values[None])[0]) * weight
    cost = float(error @ error)
    for _ in range(turns):
        slopes = _slopes(predict, values, steps, high, weight)
        normal, push = slopes @ slopes.T + np.diag(SPRING * cost / far**2), slopes @ error
        scale = np.sqrt(np.diag(normal)) + 1e-30
        before, moved = cost, False
        for _ in range(8):
            free = ~(((values <= low) & (push < 0)) | ((values >= high) & (push > 0)))
            inner = normal[np.ix_(free, free)] / scale[free] / scale[free, None]
            step = np.zeros(len(knobs))
            step[free] = (
                np.linalg.solve(inner + damping * np.eye(inner.shape[0]), push[free] / scale[free])
                / scale[free]
            )
            trial = np.clip(values + step, low, high)
            tried = (target - predict(trial[None])[0]) * weight
            new = float(tried @ tried)
            if new < cost:
                values, error, cost, moved = trial, tried, new, True
                damping = max(damping / 10, 1e-9)
                break
            damping *= 10
        if not moved or before - cost <= enough * before:
            break
    covariance = _covariance(slopes, error, block) if slopes.shape[1] else np.zeros((len(knobs),) * 2)
    for i in np.flatnonzero((values <= low) | (values >= high)).tolist() if slopes.shape[1] else ():
        reach = steps.copy()
        while 2 * reach[i] < far[i] and covariance[i, i] > (2 * reach[i]) ** 2:
            reach[i] *= 4
            slopes[i] = _slope(predict, values, i, reach[i], high, weight)
            covariance = _covariance(slopes, error, block)
    return Solution(values, float(np.sqrt(cost / target.size)), covariance)


def _slopes(predict: Predict, values: Array, steps: Array, high: Array, weight: Array) -> Array:
    """Derivative of every weighted output by every number; shape (p, m)."""
    signed = np.where(values + steps > high, -steps, steps)
    rows = np.vstack([values, values + np.diag(signed)])
    made = predict(rows)
    return np.asarray((made[1:] - made[0]) * (weight / signed[:, None]))


def _slope(predict: Predict, values: Array, i: int, step: float, high: Array, weight: Array) -> Array:
    """Derivative by one number, over a step of its own."""
    moved = values.copy()
    moved[i] += -step if values[i] + step > high[i] else step
    made = predict(np.vstack([values, moved]))
    return np.asarray((made[1] - made[0]) * (weight / (moved[i] - values[i])))


def _covariance(slopes: Array, error: Array, block: Index) -> Array:
    """Covariance of the numbers from the scatter of whole blocks."""
    scale = np.sqrt(np.sum(slopes**2, axis=1)) + 1e-30
    scaled = slopes / scale[:, None]
    normal = scaled @ scaled.T
    starts = np.flatnonzero(np.diff(block, prepend=block[:1] - 1))
    pushes = np.add.reduceat(scaled * error, starts, axis=1)
    count, numbers = starts.size, slopes.shape[0]
    back = np.linalg.pinv(normal, rcond=1e-12, hermitian=True)
    middle = pushes @ pushes.T * count / max(1, count - numbers)
    return np.asarray(back @ middle @ back / scale / scale[:, None])
