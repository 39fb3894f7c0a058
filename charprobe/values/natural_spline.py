"""A smooth curve through a few points."""

from __future__ import annotations

import numpy as np

from charprobe.values.arrays import Array


def natural_spline(at: Array, x: Array, y: Array) -> Array:
    """Return the natural cubic spline through points at some places; beyond them its last pieces go on.

    SciPy has it too, but loading it takes a quarter of a second and 30 MB.

    Parameters
    ----------
    at : ndarray
        Places asked for, of any shape.
    x, y : ndarray, shape (n,)
        Points, at least three, `x` ascending; a few hundred of them at most.

    Examples
    --------
    >>> x = np.array([0.0, 1.0, 2.0])
    >>> natural_spline(np.array([0.5, 1.0]), x, np.array([0.0, 1.0, 0.0])).tolist()
    [0.6875, 1.0]
    """
    wide, slope = np.diff(x), np.diff(y) / np.diff(x)
    bend = np.zeros(x.size)  # second derivatives, none at the ends
    system = np.diag(2 * (wide[:-1] + wide[1:])) + np.diag(wide[1:-1], 1) + np.diag(wide[1:-1], -1)
    bend[1:-1] = np.linalg.solve(system, 6 * np.diff(slope))
    piece = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
    along, h, left, right = at - x[piece], wide[piece], bend[piece], bend[piece + 1]
    first = slope[piece] - h * (2 * left + right) / 6
    return np.asarray(y[piece] + along * (first + along * (left / 2 + along * (right - left) / (6 * h))))
