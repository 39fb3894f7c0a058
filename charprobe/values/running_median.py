"""Running medians, for short windows."""

from __future__ import annotations

from typing import Literal

import numpy as np

from charprobe.values.arrays import Array


def running_median(
    values: Array, *, width: int, beyond: Literal["edge", "symmetric"], every: int = 1
) -> Array:
    """Return the median of the `width` (odd) values around each one; the ends go on as `beyond` says.

    With `every`, that of the middle of so many serves all of them: in wide windows it hardly moves.

    Examples
    --------
    >>> running_median(np.array([1.0, 9.0, 2.0, 3.0]), width=3, beyond="edge").tolist()
    [1.0, 2.0, 3.0, 3.0]
    """
    reach = width // 2
    ends = (values[:1].repeat(reach), values[-1:].repeat(reach))
    if beyond == "symmetric":
        ends = (values[:reach][::-1], values[values.size - reach :][::-1])
    around = np.lib.stride_tricks.sliding_window_view(np.concatenate([ends[0], values, ends[1]]), width)
    middles = np.minimum(np.arange(0, values.size, every) + every // 2, values.size - 1)
    medians = np.partition(around[middles], reach, axis=1)[:, reach]
    return np.repeat(medians, every)[: values.size]
