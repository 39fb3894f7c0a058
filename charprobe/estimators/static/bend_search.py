"""Where bends may lie: first guesses good enough for the fit to find the best curve of a shape."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from charprobe.estimators.static.bends import BendsFit, Shape, fit_bends, ramp
from charprobe.values.arrays import Array

GRID_WIDTHS_DB = (0.0, 2.0, 5.0, 10.0, 20.0)
NODES = 28  # corners tried by `from_hinges`
RIDGE = 1e-9


def add_bend(level: Array, gain: Array, *, std: Array, base: BendsFit, facing: int) -> BendsFit:
    """Add one bend where it helps most, then fit all unknowns anew.

    Parameters
    ----------
    level, gain, std : ndarray, shape (n,)
        As in `fit_bends`.
    base : BendsFit
        A fit of the same points.
    facing : int
        +1 or -1, as in `Shape`.
    """
    count = len(base.shape.facing)
    held = [0, *([1] if base.shape.sloped else []), *(base.shape.first(j) + 2 for j in range(count))]
    basis = np.linalg.qr(base.jacobian(level)[:, held] / std[:, None])[0]
    residual = (gain - base.gain(level)) / std
    residual = residual - basis @ (basis.T @ residual)
    corners = np.arange(level.min() + 0.5, level.max() - 0.25, 0.5)
    corner, width = (grid.ravel() for grid in np.meshgrid(corners, GRID_WIDTHS_DB))
    ramps = ramp(facing * (level[:, None] - corner), width) / std[:, None]
    ramps -= basis @ (basis.T @ ramps)
    energy = np.maximum(np.sum(ramps**2, axis=0), 1e-12)
    along = residual @ ramps
    best = int(np.argmax(along**2 / energy))
    new = (float(corner[best]), float(width[best]), float(along[best] / energy[best]), facing)
    bends = [(*base.corner(j), f) for j, f in enumerate(base.shape.facing)] + [new]
    bends.sort(key=lambda bend: (bend[3], bend[0]))
    shape = Shape(base.shape.sloped, tuple(bend[3] for bend in bends), base.shape.output_knee)
    head = base.parameters[: 1 + base.shape.sloped]
    start = np.concatenate([head, *(np.array(bend[:3]) for bend in bends)])
    return fit_bends(level, gain, std=std, shape=shape, start=start)


def from_hinges(level: Array, gain: Array, *, std: Array, shape: Shape) -> BendsFit:
    """Fit a shape from the best of all combinations of hard corners on a grid.

    Parameters
    ----------
    level, gain, std : ndarray, shape (n,)
        As in `fit_bends`.
    shape : Shape
        With at least one bend; left-facing ones stand left of right-facing ones.

    Notes
    -----
    With hard corners at given places the curve is linear in all else, so the sum of squares of each
    combination follows from one common normal matrix, thousands of combinations at once.
    """
    nodes = np.linspace(level.min() + 1.0, level.max() - 1.0, NODES)
    over = level[:, None] - nodes
    hinges = np.hstack([np.maximum(over, 0.0), np.maximum(-over, 0.0)])
    origin = level.mean()
    columns = np.column_stack([np.ones(level.size), level - origin, hinges]) / std[:, None]
    normal, right = columns.T @ columns, columns.T @ (gain / std)
    normal += RIDGE * np.diag(np.diag(normal))
    corners = np.array(list(combinations(range(NODES), len(shape.facing))))
    side = np.array([0 if facing > 0 else NODES for facing in shape.facing])
    head = np.tile([0, 1] if shape.sloped else [0], (corners.shape[0], 1))
    index = np.hstack([head, 2 + corners + side])
    parts = normal[index[:, :, None], index[:, None, :]]
    solution = np.linalg.solve(parts, right[index][:, :, None])[:, :, 0]
    best = int(np.argmax(np.sum(solution * right[index], axis=1)))
    start = np.zeros(shape.size)
    start[: head.shape[1]] = solution[best, : head.shape[1]]
    for bend in range(len(shape.facing)):
        first = shape.first(bend)
        start[first] = nodes[corners[best, bend]]
        start[first + 2] = solution[best, head.shape[1] + bend]
    return fit_bends(level, gain, std=std, shape=shape, start=start)


def with_output_knee(level: Array, gain: Array, *, std: Array, base: BendsFit) -> BendsFit:
    """Fit the same curve anew with the first bend to the right as an `Shape.output_knee`."""
    shape = Shape(base.shape.sloped, base.shape.facing, output_knee=True)
    return fit_bends(level, gain, std=std, shape=shape, start=base.parameters)
