"""What any curve that bends one way may do between the points it passes through."""

from __future__ import annotations

import numpy as np

from charprobe.values.arrays import Array

FINE = 500


def between_chords(x: Array, y: Array, *, at: float, value: float) -> tuple[float, float]:
    """Return where a falling curve that only bends down may pass a value, between the points beside `at`.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Points of the curve, x ascending, at least two.
    at, value : float
        Where about it passes which value.

    Notes
    -----
    It lies above the chord of the two points, and below the chords on both sides carried on.

    Examples
    --------
    >>> x = np.array([-2.0, -1.0, 1.0, 2.0])
    >>> between_chords(x, np.minimum(0.0, -x), at=0.5, value=-0.75)  # a corner at 0, or bent in between
    (0.5, 0.75)
    """
    after = int(np.clip(np.searchsorted(x, at), 1, x.size - 1))
    grid = np.linspace(x[after - 1], x[after], FINE + 1)
    chord, above = np.interp(grid, x, y), np.full(grid.size, np.inf)
    for one, other in ((after - 1, after - 2), (after, after + 1)):
        if 0 <= other < x.size:
            slope = (y[other] - y[one]) / (x[other] - x[one])
            above = np.minimum(above, y[one] + slope * (grid - x[one]))
    first, last = (round(float(np.interp(-value, -course, grid)), 9) for course in (chord, above))
    return first, last
