"""Sound held in memory, on the grid of 24-bit files, and shifted between samples without any filter of ours."""

import numpy as np
from scipy.fft import irfft, rfft

from charprobe.files.sound.source import MemoryCapture

RATE_HZ = 48_000
GAIN, LATE = 0.8, 37.25  # of the second of a pair that differs in nothing else
FLAT = np.ones((1, 1))  # no response


def as_source(samples, rate_hz):
    """Sound of shape (n, channels) as a source."""
    return MemoryCapture(samples, rate_hz=rate_hz)


def on_24_bit(sound, *, rate_hz):
    """One channel rounded to 24 bits."""
    return as_source(np.round(sound * 2**23) / 2**23, rate_hz)


def shifted(sound, frames):
    """Band-limited delay by a phase ramp over twice the length."""
    size = 2 * sound.size
    ramp = np.exp(-2j * np.pi * np.arange(sound.size + 1) / size * frames)
    return irfft(rfft(sound, size) * ramp, size)[: sound.size]
