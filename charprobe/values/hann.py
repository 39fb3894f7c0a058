"""The Hann window, to its zeros and to half a sample before them."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from charprobe.values.arrays import Array


@lru_cache(maxsize=32)
def hann(count: int) -> Array:
    """Window of so many samples, kept, for tones are of a few lengths. Not to be changed."""
    return np.hanning(count)


@lru_cache(maxsize=16)
def hann_within(count: int) -> Array:
    """The same with its zeros half a sample beyond either end: its transform lies on whole bins."""
    return np.asarray(0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(count) + 0.5) / count))
