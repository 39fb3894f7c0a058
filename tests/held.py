"""Sound held in memory, on the grid of 24-bit files, and shifted between samples without any filter of ours."""

from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, rfft

RATE_HZ = 48_000
GAIN, LATE = 0.8, 37.25  # of the second of a pair that differs in nothing else
FLAT = np.ones((1, 1))  # no response


@dataclass(frozen=True)
class Held:
    """Frames of an array, shape (n, channels)."""

    samples: np.ndarray
    rate_hz: int

    @property
    def frames(self):
        """Samples per channel."""
        return self.samples.shape[0]

    @property
    def channels(self):
        """Number of channels."""
        return self.samples.shape[1]

    def read_frames(self, start, stop):
        """Frames `start` to `stop`, clipped."""
        return self.samples[max(start, 0) : max(stop, 0)]


def on_24_bit(sound, *, rate_hz):
    """One channel rounded to 24 bits."""
    return Held((np.round(sound * 2**23) / 2**23)[:, None], rate_hz)


def shifted(sound, frames):
    """Band-limited delay by a phase ramp over twice the length."""
    size = 2 * sound.size
    ramp = np.exp(-2j * np.pi * np.arange(sound.size + 1) / size * frames)
    return irfft(rfft(sound, size) * ramp, size)[: sound.size]
