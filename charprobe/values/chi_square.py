"""Between which values chi-square lies, which tells how sure a power is that was read from so many values."""

from __future__ import annotations

import math

import numpy as np

from charprobe.values.quantity import Z95

LARGE = 20.0  # from which on Stirling's series holds to the last digit


def chi_square_95(freedom: float) -> tuple[float, float]:
    """Return the 2.5 % and the 97.5 % quantile of chi-square with so many degrees of freedom, above 0.

    Notes
    -----
    Newton's steps on the logarithm of the series of the incomplete gamma function (Abramowitz and Stegun
    6.5.29), from the quantiles of Wilson and Hilferty. SciPy has it too, but loading it takes as long as half
    a check.

    Examples
    --------
    >>> [round(value, 3) for value in chi_square_95(10)]  # tables: 3.247, 20.483
    [3.247, 20.483]
    """
    shape = freedom / 2
    if shape < LARGE:
        gamma = math.lgamma(shape + 1) - shape * math.log(shape) + shape
    else:
        series = 1 / 12 - (1 / 360 - (1 / 1260 - 1 / 1680 / shape**2) / shape**2) / shape**2
        gamma = math.log(2 * math.pi * shape) / 2 + series / shape
    counted = shape + np.arange(1, 60 + int(14 * math.sqrt(shape)))
    found = []
    for share, side in ((0.025, -Z95), (0.975, Z95)):
        cube = 1 - 1 / (9 * shape) + side / (3 * math.sqrt(shape))
        value = shape * max(cube, 0.1) ** 3
        for _ in range(50):
            total = 1 + float(np.cumprod(value / counted).sum())
            off = value / shape - 1
            grown = math.log1p(off) if off > -0.5 else math.log(value / shape)
            above = shape * (grown - off) - gamma + math.log(total / share)
            step = above * total / shape
            value *= math.exp(-step)
            if abs(step) < 1e-14:
                break
        found.append(2 * value)
    return found[0], found[1]
