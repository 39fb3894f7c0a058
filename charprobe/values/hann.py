"""The Hann window."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from charprobe.values.arrays import Array


@lru_cache(maxsize=32)
def hann(count: int) -> Array:
    """Window of so many samples, kept, for tones are of a few lengths. Not to be changed."""
    return np.hanning(count)
