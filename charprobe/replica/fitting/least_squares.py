"""Nonlinear least squares over many samples and few numbers, within bounds."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.values.arrays import Array, Index

SPRING = 1e-4
AGAIN, LEADS_ON = 6, 0.9  # steps without new derivatives, as long as each leaves so much less of the squares
NEAR = 0.1  # of `Knob.far`: so near a bound a number may hardly change anything
USUAL = 2.0  # ways' worth of what all blocks show, beside what those show that tell a number
Predict = Callable[[Array], Iterable[Array]]  # rows of numbers, shape (k, p) -> k outputs, shape (m,)


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
    starts : tuple of float
        Values besides the one given that a fit may start from, of a number with more than one valley.
    """

    places: tuple[str, ...]
    low: float
    high: float
    logarithmic: bool = False
    step: float = 1e-3
    far: float = 1.0
    starts: tuple[float, ...] = ()

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
class Effort:
    """Derivatives that may be taken, and the relative gain of the squares at which a turn is the last.

    `spread` says whether the covariance is asked for, which a search does not need; `starts` whether the fit
    begins at the best of `Knob.starts`; `ahead` whether the look-ahead of a cell is fitted.
    """

    turns: int
    enough: float
    spread: bool = True
    starts: bool = True
    ahead: bool = False


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
        On the same scale; from how the errors of whole blocks scatter. NaN where it was not asked for.
    """

    values: Array
    score: float
    covariance: Array


def solve(
    predict: Predict, target: Array, weight: Array, block: Index, knobs: Sequence[Knob], start: Array, *,
    effort: Effort, slopes_of: Predict | None = None,
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
    effort : Effort
        When it ends.
    slopes_of : callable, optional
        What differences are taken of, where something near to `predict` is cheaper.

    Notes
    -----
    Levenberg's damping on scaled columns; these are corrected by what a step made, as Broyden does, as long
    as that leads on; a number at its bound that pushes outwards is left out of the turn.
    Each number is held besides by a spring that costs `SPRING` of the squares over `Knob.far`: next to
    nothing where the output tells the number.
    """
    low, high = (np.array(ends) for ends in zip(*(knob.bounds for knob in knobs), strict=True))
    steps, far = (np.array(sizes) for sizes in zip(*((knob.step, knob.far) for knob in knobs), strict=True))
    moved_by = slopes_of or predict
    values, error = np.clip(start, low, high), np.zeros(0)
    for one in _starts(values, knobs if effort.starts else ()):
        [made] = predict(one[None])
        tried = (target - made) * weight
        if not error.size or tried @ tried < error @ error:
            values, error = one, tried
    cost, damping = float(error @ error), 1e-3
    for _ in range(effort.turns):
        slopes = _slopes(moved_by, values, steps, high, weight)
        begun = cost
        for again in range(1 + AGAIN):
            normal, push = slopes @ slopes.T + np.diag(SPRING * cost / far**2), slopes @ error
            scale = np.sqrt(np.diag(normal)) + 1e-30
            before, new = cost, np.inf
            for _ in range(1 if again else 8):
                free = ~(((values <= low) & (push < 0)) | ((values >= high) & (push > 0)))
                inner = normal[np.ix_(free, free)] / scale[free] / scale[free, None]
                step = np.zeros(len(knobs))
                step[free] = (
                    np.linalg.solve(inner + damping * np.eye(inner.shape[0]), push[free] / scale[free])
                    / scale[free]
                )
                trial = np.clip(values + step, low, high)
                [made] = predict(trial[None])
                tried = (target - made) * weight
                new = float(tried @ tried)
                if new < cost:
                    break
                damping *= 10
            if not new < cost:
                break
            moved, made = trial - values, error - tried
            values, error, cost, damping = trial, tried, new, max(damping / 10, 1e-9)
            if cost > LEADS_ON * before or again == AGAIN:
                break
            made -= moved @ slopes
            for i, share in enumerate(moved * scale**2 / (moved**2 @ scale**2)):
                slopes[i] += share * made
        if begun - cost <= effort.enough * begun:
            break
    score = float(np.sqrt(cost / target.size))
    told = np.full((len(knobs),) * 2, np.nan)
    del slopes  # as large as those that a spread asks for
    if effort.spread:
        told = spread_of(moved_by, error, weight, block, knobs, values)
    return Solution(values, score, told)


def _starts(values: Array, knobs: Sequence[Knob]) -> list[Array]:
    """The given values, and each of `Knob.starts` in the place of its own."""
    moved = [(i, knob.inner(value)) for i, knob in enumerate(knobs) for value in knob.starts]
    rows = np.repeat(values[None], 1 + len(moved), axis=0)
    for row, (i, value) in zip(rows[1:], moved, strict=True):
        row[i] = value
    return list(rows)


def spread_of(
    predict: Predict, error: Array, weight: Array, block: Index, knobs: Sequence[Knob], values: Array
) -> Array:
    """Covariance of numbers at the minimum of the squares of `error`; arguments as of `solve`.

    The derivative of a number near its bound, or told to no more than its step, is taken over as far as its
    interval reaches: a knee next to none changes nothing at all, and a slope above what was played nothing on
    its steeper side.
    """
    low, high = (np.array(ends) for ends in zip(*(knob.bounds for knob in knobs), strict=True))
    steps, far = (np.array(sizes) for sizes in zip(*((knob.step, knob.far) for knob in knobs), strict=True))
    slopes = _slopes(predict, values, steps, high, weight)
    covariance = _told(slopes, error, block, far)
    stds = np.sqrt(np.diag(covariance))
    edge = np.minimum(values - low, high - values)
    near = edge <= np.maximum(3 * stds, NEAR * far)
    for i in np.flatnonzero(near | (stds > steps)).tolist():
        reach = max(steps[i], edge[i]) if near[i] else steps[i]
        while True:
            slopes[i] = _least_slope(predict, values, i, reach, (low[i], high[i]), weight)
            covariance = _told(slopes, error, block, far)
            if 2 * reach >= far[i] or covariance[i, i] <= (2 * reach) ** 2:
                break
            reach *= 4
    return covariance


def without_rounding(covariance: Array) -> Array:
    """The covariance, symmetric and without the negative variances that rounding leaves in some directions.

    Examples
    --------
    >>> without_rounding(np.array([[1.0, 2.0], [2.0, 1.0]]))
    array([[1.5, 1.5],
           [1.5, 1.5]])
    """
    scale = np.sqrt(np.abs(np.diag(covariance))) + 1e-300
    alike = covariance / scale / scale[:, None]
    sizes, ways = np.linalg.eigh((alike + alike.T) / 2)
    return np.asarray((ways * np.maximum(sizes, 0.0)) @ ways.T * scale * scale[:, None])


def _slopes(predict: Predict, values: Array, steps: Array, high: Array, weight: Array) -> Array:
    """Derivative of every weighted output by every number; shape (p, m)."""
    signed = np.where(values + steps > high, -steps, steps)
    made = iter(predict(np.vstack([values, values + np.diag(signed)])))
    here = next(made)
    slopes = np.empty((steps.size, weight.size))
    for i, there in enumerate(made):
        slopes[i] = (there - here) * weight / signed[i]
    return _finite(slopes)


def _least_slope(
    predict: Predict, values: Array, i: int, step: float, ends: tuple[float, float], weight: Array
) -> Array:
    """Derivative by one number over a step of its own, up or down: the one that tells the number least."""
    rows = np.repeat(values[None], 3, axis=0)
    rows[1:, i] = np.clip(values[i] + np.array([-step, step]), *ends)
    here, *made = predict(rows)
    moved = rows[1:, i] - values[i]
    far = np.abs(moved) >= 0.5 * step
    found = _finite((np.stack(made)[far] - here) * (weight / moved[far, None]))
    return np.asarray(min(found, key=lambda slope: float(slope @ slope)))


def _finite(slopes: Array) -> Array:
    """The derivatives, none where the output runs beyond all numbers: a way that far tells nothing."""
    slopes[[not np.isfinite(slope @ slope) for slope in slopes]] = 0.0
    return slopes


def _told(slopes: Array, error: Array, block: Index, far: Array) -> Array:
    """The covariance; a number that even a large change of it hardly shows is told to that change."""
    covariance = _covariance(slopes, error, block)
    untold = np.einsum("ij,ij->i", slopes, slopes) * far**2 < 1
    covariance[untold] = covariance[:, untold] = 0.0
    covariance[untold, untold] = far[untold] ** 2
    return covariance


def _covariance(slopes: Array, error: Array, block: Index) -> Array:
    """Covariance of the numbers from the scatter of whole blocks.

    How the pulls of blocks scatter, each by its own size, is the truth where many blocks tell a number. Of
    one that a block or two tell, those hardly pull at all once it is fitted; there it is what errors that
    hang together as they do in all blocks would leave.
    """
    scale = np.sqrt(np.einsum("ij,ij->i", slopes, slopes)) + 1e-30
    starts = np.flatnonzero(np.diff(block, prepend=block[:1] - 1))
    parts, off = np.split(slopes, starts[1:], axis=1), np.split(error, starts[1:])
    pushes = np.stack([a @ b for a, b in zip(parts, off, strict=True)], axis=1) / scale[:, None]
    grams = np.stack([part @ part.T for part in parts]) / scale / scale[:, None]
    count, numbers = starts.size, slopes.shape[0]
    back = np.linalg.pinv(grams.sum(axis=0), rcond=1e-12, hermitian=True)
    middle = pushes @ pushes.T * count / max(1, count - numbers)
    own = back @ middle @ back
    inverse = np.linalg.pinv(grams, rcond=1e-6, hermitian=True)
    # ways in which a block tells numbers, less those that the fit has used up in it; what it pulls in them
    free = np.einsum("bij,bji->b", inverse, grams) - np.einsum("ij,bji->b", back, grams)
    pulls = np.einsum("ib,bij,jb->b", pushes, inverse, pushes)
    tells = np.einsum("bii->ib", grams)
    tells *= tells.sum(axis=1, keepdims=True) / np.maximum(np.sum(tells**2, axis=1, keepdims=True), 1e-300)
    usual = pulls.sum() / max(1.0, free.sum())
    together = (tells @ pulls + USUAL * usual) / (tells @ np.maximum(free, 0.0) + USUAL)
    wider = np.sqrt(np.maximum(1.0, together * np.diag(back) / np.maximum(np.diag(own), 1e-300)))
    return np.asarray(own * wider * wider[:, None] / scale / scale[:, None])
