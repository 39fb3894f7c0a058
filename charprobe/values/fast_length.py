"""Lengths that fast Fourier transforms like."""

from __future__ import annotations

from functools import lru_cache


def fast_length(least: int) -> int:
    """Smallest product of twos, threes and fives that is not below `least`.

    SciPy knows it too, but loading its transforms takes longer than a whole check.

    Examples
    --------
    >>> fast_length(8820), fast_length(9600), fast_length(1)
    (9000, 9600, 1)
    """
    best = 1 << max(0, least - 1).bit_length()
    fives = 1
    while fives < best:
        odd = fives
        while odd < best:
            best = min(best, odd << max(0, (-(-least // odd) - 1).bit_length()))
            odd *= 3
        fives *= 5
    return best


@lru_cache(maxsize=64)
def fast_length_within(most: int) -> int:
    """Largest product of twos, threes and fives that is not above `most`, which is at least 1.

    Examples
    --------
    >>> fast_length_within(4441)
    4374
    """
    return next(length for length in range(most, 0, -1) if fast_length(length) == length)
