"""Sending several channels through impulse responses, without a package of filters, slow to load."""

from __future__ import annotations

import numpy as np
import scipy

from charprobe.values.arrays import Array


def through(samples: Array, response: Array) -> Array:
    """Filter each channel by its impulse response, or all by one; m, its length, is at most n.

    Shapes are (n, channels) and (m, channels) or (m, 1); (n - m + 1, channels) comes back, without the ends
    where the response would overhang: its first value belongs to sample ``m - 1``.
    """
    if response.shape == (1, 1) and response[0, 0] == 1:
        return samples
    size = scipy.fft.next_fast_len(samples.shape[0], real=True)  # what goes round falls on the ends
    spectrum = scipy.fft.rfft(samples, size, axis=0) * scipy.fft.rfft(response, size, axis=0)
    return np.asarray(scipy.fft.irfft(spectrum, size, axis=0)[response.shape[0] - 1 : samples.shape[0]])


def low_pass(taps: int, *, cut: float) -> Array:
    """Kaiser-windowed sinc of unit gain at DC, shape (taps,); `cut` is a share of half the sampling rate."""
    kernel = np.sinc(cut * (np.arange(taps) - (taps - 1) / 2)) * np.kaiser(taps, 8.0)
    return np.asarray(kernel / kernel.sum())
