"""Running medians, for short windows."""

from __future__ import annotations

from typing import Literal

import numpy as np

from charprobe.values.arrays import Array


def running_median(values: Array, *, width: int, beyond: Literal["edge", "symmetric"]) -> Array:
    """Return the median of the `width` (odd) values around each one; the ends go on as `beyond` says.

    Examples
    --------
    >>> running_median(np.array([1.0, 9.0, 2.0, 3.0]), width=3, beyond="edge").tolist()
    [1.0, 2.0, 3.0, 3.0]
    """
    around = np.lib.stride_tricks.sliding_window_view(np.pad(values, width // 2, mode=beyond), width)
    return np.asarray(np.partition(around, width // 2, axis=1)[:, width // 2])
