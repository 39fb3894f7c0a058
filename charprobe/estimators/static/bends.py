"""Straight lines joined by bends: the family of curves that gain against level is fitted with."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from charprobe.values.arrays import Array
from charprobe.values.quantity import student_factor

MAX_WIDTH_DB = 80.0
ITERATIONS = 60
ROUNDS, STALLED = 12, 1e-4  # within which a search must get on by such a share of what is left over


@dataclass(frozen=True)
class Shape:
    """Which unknowns a curve has.

    Attributes
    ----------
    sloped : bool
        Whether the section that carries the constant has a slope of its own.
    facing : tuple of int
        One entry per bend, from left to right: +1 bends away to the right of its corner, -1 to the left.
    output_knee : bool
        Whether the knee of the first bend to the right is a parabola on the output axis, as in a
        compressor that senses its own output, instead of on the input axis.
    """

    sloped: bool
    facing: tuple[int, ...]
    output_knee: bool = False

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return 1 + self.sloped + 3 * len(self.facing)

    @property
    def lower(self) -> int:
        """Number of bends below the section that carries the constant, which are the first."""
        return sum(facing < 0 for facing in self.facing)

    def first(self, bend: int) -> int:
        """Index of a bend's corner among the unknowns; its width and its change of slope follow."""
        return 1 + self.sloped + 3 * bend

    def on_output(self, bend: int) -> bool:
        """Whether the knee of this bend is a parabola on the output axis."""
        return self.output_knee and self.facing[bend] > 0 and 1 not in self.facing[:bend]


@dataclass(frozen=True)
class BendsFit:
    """A fitted curve ``c + s (x - x0) + sum_j d_j B(f_j (x - T_j), W_j)``.

    ``B(o, W) = clip(o + W/2, 0, W)**2 / (2 W) + max(0, o - W/2)`` is zero on one side of a corner,
    ``o`` on the other and a parabola within half its width ``W`` in dB; ``f = +1`` or ``-1`` says to
    which side. A knee that is a parabola on the output axis has its corner at ``1 / (R + 1)`` of its
    width, ``R = 1 / (1 + d)``.

    Attributes
    ----------
    parameters : ndarray
        ``c``, then ``s`` if the shape is sloped, then ``T, W, d`` of each bend from left to right.
    covariance : ndarray
        Of `parameters`, scaled by `dispersion`, and for few points so that 1.96 standard uncertainties
        hold 95 %; zero for a width that sits at its bound 0.
    chi2, dof, dispersion : float
        Weighted sum of squared residuals, degrees of freedom, and ``max(1, chi2 / dof)``.
    """

    shape: Shape
    origin: float
    parameters: Array
    covariance: Array
    chi2: float
    dof: int
    dispersion: float

    def gain(self, level: Array) -> Array:
        """Return the curve at some levels."""
        return curve(self.shape, self.origin, self.parameters, level)

    def jacobian(self, level: Array) -> Array:
        """Return the derivative of the curve at some levels by each parameter; shape (n, size)."""
        return curve_slopes(self.shape, self.origin, self.parameters, level)

    def spread(self, weights: Array) -> Array:
        """Return standard uncertainties of linear combinations of the parameters; `weights` is (n, size)."""
        return np.asarray(
            np.sqrt(np.maximum(0.0, np.einsum("ij,jk,ik->i", weights, self.covariance, weights)))
        )

    def moved_by(self, off_db: Array, level: Array, std: Array) -> BendsFit:
        """Return the fit where all gains may be off together: its covariance holds what that moves."""
        moved = np.linalg.pinv(self.jacobian(level) / std[:, None]) @ (off_db / std)
        return replace(self, covariance=self.covariance + np.outer(moved, moved))

    def corner(self, bend: int) -> tuple[float, float, float]:
        """Corner, width and change of slope of a bend."""
        first = self.shape.first(bend)
        corner, width, change = self.parameters[first : first + 3]
        return float(corner), float(width), float(change)

    def reach(self, bend: int) -> tuple[float, float]:
        """Levels between which a bend is curved."""
        corner, width, change = self.corner(bend)
        before = _share_before(change) if self.shape.on_output(bend) else 0.5
        return corner - before * width, corner + (1 - before) * width

    @cached_property
    def sections(self) -> tuple[StraightSection, ...]:
        """Straight sections from left to right; bends that overlap leave sections of negative length out."""
        base = np.zeros(self.parameters.size)
        if self.shape.sloped:
            base[1] = 1.0
        weights, slopes = base.copy(), []
        for bend, facing in enumerate(self.shape.facing):
            if facing < 0:
                weights[self.shape.first(bend) + 2] -= 1.0
        begin = -np.inf
        for bend, _ in enumerate(self.shape.facing):
            enters, leaves = self.reach(bend)
            slopes.append(self._section(begin, enters, weights.copy()))
            weights[self.shape.first(bend) + 2] += 1.0
            begin = leaves
        slopes.append(self._section(begin, np.inf, weights))
        return tuple(slopes)

    def _section(self, begin: float, end: float, weights: Array) -> StraightSection:
        std = float(self.spread(weights[None, :])[0])
        return StraightSection(float(begin), float(end), float(weights @ self.parameters), std)


@dataclass(frozen=True)
class StraightSection:
    """A straight piece: from where to where, slope of the gain in dB per dB, its standard uncertainty."""

    begin: float
    end: float
    slope: float
    std: float


def fit_bends(
    level: Array, gain: Array, *, std: Array, shape: Shape, start: Array, fixed: tuple[int, ...] = ()
) -> BendsFit:
    """Fit a curve of one shape by damped Gauss-Newton steps.

    Parameters
    ----------
    level, gain, std : ndarray, shape (n,)
        Input levels, gains there and their standard uncertainties, all in dB; `std` above 0.
    shape : Shape
        What to fit, with fewer unknowns than points.
    start : ndarray, shape (shape.size,)
        First guess.
    fixed : tuple of int
        Index of unknowns kept at their first guess.

    Returns
    -------
    BendsFit
    """
    origin = float(level.mean())
    narrowest = 1.5 * float(np.median(np.diff(np.unique(np.round(level, 2)))))
    free = np.array([i for i in range(shape.size) if i not in fixed])
    widths = np.array([shape.first(j) + 1 for j in range(len(shape.facing))], dtype=int)
    corners = widths - 1
    lowest, highest = np.full(shape.size, -np.inf), np.full(shape.size, np.inf)
    lowest[corners], highest[corners], highest[widths] = level.min() - 1.0, level.max() + 1.0, MAX_WIDTH_DB

    def kept(parameters: Array, before: Array) -> Array:
        lowest[widths] = before[widths] / 3  # a width nears zero, never sticks
        return np.asarray(np.minimum(np.maximum(parameters, lowest), highest))

    current = kept(start.astype(float), np.zeros(shape.size))
    released = np.setdiff1d(widths, np.array(fixed, dtype=int))
    current[released] = np.maximum(current[released], narrowest)  # a width of zero would never grow again
    jacobian = curve_slopes(shape, origin, current, level)
    residual = (gain - curve(shape, origin, current, level)) / std
    cost, damping = float(residual @ residual), 1e-3
    before = math.inf
    for number in range(ITERATIONS):
        if number % ROUNDS == 0:
            if before - cost < STALLED * (1.0 + cost):
                break
            before = cost
        weighted = jacobian[:, free] / std[:, None]
        normal, slope = weighted.T @ weighted, weighted.T @ residual
        diagonal = np.einsum("ii->i", normal)  # seen in its place
        diagonal += damping * (diagonal + 1e-9 * diagonal.max())
        trial = current.copy()
        trial[free] += np.linalg.solve(normal, slope)
        trial = kept(trial, current)
        trial_residual = (gain - curve(shape, origin, trial, level)) / std
        trial_cost = float(trial_residual @ trial_residual)
        if trial_cost <= cost:
            done = cost - trial_cost < 1e-7 * (1.0 + cost) and damping < 1e-4
            current, residual, cost = trial, trial_residual, trial_cost
            jacobian = curve_slopes(shape, origin, current, level)
            damping = max(1e-9, damping / 9)
            if done:
                break
        else:
            damping *= 6
            if damping > 1e9:
                break
    for corner, width in zip(corners, widths, strict=True):
        if np.all(np.abs(level - current[corner]) >= current[width]):
            current[width] = 0.0  # no point lies inside: the width has no bearing on the curve
    dof = level.size - free.size
    dispersion = max(1.0, cost / max(1, dof))
    covariance = _covariance(jacobian / std[:, None], free) * dispersion * student_factor(dof) ** 2
    return BendsFit(shape, origin, current, covariance, cost, dof, dispersion)


def curve(shape: Shape, origin: float, parameters: Array, level: Array) -> Array:
    """Return the curve at some levels; shape (n,)."""
    value = np.full(level.size, parameters[0])
    if shape.sloped:
        value += parameters[1] * (level - origin)
    for bend, facing in enumerate(shape.facing):
        first = shape.first(bend)
        corner, width, change = parameters[first : first + 3]
        over = facing * (level - corner)
        bent = shape.on_output(bend) and _is_bent(width, change)
        value += change * (_output_ramp(over, width, change) if bent else ramp(over, width))
    return value


def curve_slopes(shape: Shape, origin: float, parameters: Array, level: Array) -> Array:
    """Return the derivative of the curve at some levels by each unknown; shape (n, size)."""
    slopes = np.zeros((level.size, shape.size))
    slopes[:, 0] = 1.0
    if shape.sloped:
        slopes[:, 1] = level - origin
    for bend, facing in enumerate(shape.facing):
        first = shape.first(bend)
        corner, width, change = parameters[first : first + 3]
        over = facing * (level - corner)
        if shape.on_output(bend) and _is_bent(width, change):
            slopes[:, first : first + 3] = _output_slopes(over, width, change)
            continue
        share = np.minimum(np.maximum((over + width / 2) / max(width, 1e-9), 0.0), 1.0)
        slopes[:, first] = -facing * change * share
        slopes[:, first + 1] = change * share * (1 - share) / 2
        slopes[:, first + 2] = ramp(over, width)
    return slopes


def ramp(over: Array, width: float | Array) -> Array:
    """Return zero left of the corner, `over` right of it, and a parabola in between."""
    inside = np.minimum(np.maximum(over + width / 2, 0.0), width)
    return np.asarray(inside**2 / (2 * np.maximum(width, 1e-9)) + np.maximum(0.0, over - width / 2))


def _share_before(change: float) -> float:
    """Share of an output knee's width that lies left of its corner."""
    return 1 / (_ratio(change) + 1)


def _ratio(change: float) -> float:
    return 1 / max(1 + change, 1e-3)


def _is_bent(width: float, change: float) -> bool:
    """Whether a knee on the output axis is another than one on the input axis."""
    return abs(_ratio(change) ** 2 - 1) >= 1e-6 and width >= 1e-9


def _output_ramp(over: Array, width: float, change: float) -> Array:
    """As `ramp`, for a knee that is a parabola on the output axis: ``y = x - k B(y - T, W_out)``.

    Solved for the output, the slope within the knee falls as ``1 / sqrt(1 + K u)`` while ``u`` goes
    from 0 to 1 over the width, with ``K = R**2 - 1``.
    """
    ratio = _ratio(change)
    bent = ratio**2 - 1
    u = np.minimum(np.maximum(over / width + 1 / (ratio + 1), 0.0), 1.0)
    inside = width * (u - 2 / bent * (np.sqrt(1 + bent * u) - 1)) / (1 - 1 / ratio)
    return np.asarray(np.where(u < 1, inside, over))


def _output_slopes(over: Array, width: float, change: float) -> Array:
    """Derivative of an output knee's part of the curve by corner, width and change of slope; (n, 3)."""
    ratio = _ratio(change)
    bent, scale = ratio**2 - 1, 1 / (1 - 1 / ratio)
    u = np.minimum(np.maximum(over / width + 1 / (ratio + 1), 0.0), 1.0)
    root, beyond = np.sqrt(1 + bent * u), u >= 1
    value = (u - 2 / bent * (root - 1)) * scale
    by_u = np.where(u > 0, 1 - 1 / root, 0.0) * scale
    by_bent = (2 / bent**2 * (root - 1) - u / (bent * root)) * scale
    by_ratio = 2 * ratio * by_bent - by_u / (ratio + 1) ** 2 - value * scale / ratio**2
    inside = np.stack([-by_u, value - by_u * over / width, width * (value / change - by_ratio * ratio**2)])
    outside = np.stack([-np.ones(u.size), np.zeros(u.size), over / change])
    return np.asarray(change * np.where(beyond, outside, inside).T)


def _covariance(weighted: Array, free: Array) -> Array:
    covariance = np.zeros((weighted.shape[1], weighted.shape[1]))
    moved = free[np.linalg.norm(weighted[:, free], axis=0) > 1e-9]
    inverse = np.linalg.pinv(weighted[:, moved].T @ weighted[:, moved], rcond=1e-13, hermitian=True)
    covariance[np.ix_(moved, moved)] = inverse
    return covariance
