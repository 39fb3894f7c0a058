"""Lengths that fast Fourier transforms like."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from functools import cache


def fast_length(least: int) -> int:
    """Smallest product of twos, threes and fives that is not below `least`, up to 2^40.

    SciPy knows it too, but loading its transforms takes longer than a whole check.

    Examples
    --------
    >>> fast_length(8820), fast_length(9600), fast_length(1)
    (9000, 9600, 1)
    """
    lengths = _lengths()
    return lengths[bisect_left(lengths, least)]


def fast_length_within(most: int) -> int:
    """Largest product of twos, threes and fives that is not above `most`, which is at least 1.

    Examples
    --------
    >>> fast_length_within(4441)
    4374
    """
    lengths = _lengths()
    return lengths[bisect_right(lengths, most) - 1]


@cache
def _lengths() -> list[int]:
    """All such products below 2^41."""
    odd = [3**threes * 5**fives for threes in range(26) for fives in range(18)]
    return sorted(one << twos for one in odd for twos in range(42 - one.bit_length()))
