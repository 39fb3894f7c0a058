"""Medians of many rows at once."""

from __future__ import annotations

import numpy as np

from charprobe.values.arrays import Array


def median_over(values: Array, *, axis: int) -> Array:
    """Return the median of finite values along an axis; NumPy, which allows for others, is slower by far.

    Examples
    --------
    >>> median_over(np.array([[1.0, 9.0, 2.0, 3.0], [4.0, 4.0, 5.0, 6.0]]), axis=1).tolist()
    [2.5, 4.5]
    """
    half, odd = divmod(values.shape[axis], 2)
    parted = np.moveaxis(np.partition(values, half, axis=axis), axis, -1)
    above = parted[..., half]
    return np.asarray(above if odd else (parted[..., :half].max(axis=-1) + above) / 2)
