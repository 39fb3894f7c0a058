"""Sending several channels through impulse responses, without the ends where the response would overhang."""

from __future__ import annotations

import numpy as np
import scipy

from charprobe.values.arrays import Array


def through(samples: Array, response: Array) -> Array:
    """Filter each channel by its impulse response, or all by one; m, its length, is at most n.

    Shapes are (n, channels) and (m, channels) or (m, 1); (n - m + 1, channels) comes back, and its first
    value belongs to sample ``m - 1``.
    """
    if response.shape == (1, 1) and response[0, 0] == 1:
        return samples
    wide = np.broadcast_to(response, (response.shape[0], samples.shape[1]))
    full = scipy.signal.oaconvolve(samples, wide, mode="full", axes=0)
    return np.asarray(full[response.shape[0] - 1 : samples.shape[0]])
