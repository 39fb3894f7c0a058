"""Reading sound between its samples: for listening and null files only, never for measurements."""

from __future__ import annotations

from functools import cache

import numpy as np
import scipy
from numpy.polynomial import chebyshev

from charprobe.files.sound.frames import Frames, read_padded
from charprobe.values.arrays import Array

REACH = 64  # samples on each side that shape a value in between
_BETA = 11.5
EXACT_BAND = 0.94  # of half the sampling rate: above, values between the samples come out too soft
_ORDER = 10
_FRACTION_NODES = 64


def read_at(source: Frames, *, first: float, step: float, count: int) -> Array:
    """Read a source at evenly spaced positions between its samples.

    Parameters
    ----------
    source : Frames
        Sound; silence is assumed beyond its ends.
    first : float
        Position of the first value, in frames of the source.
    step : float
        Frames from one value to the next, within 0.5 % of 1.
    count : int
        Number of values, up to a few blocks: this much is held in memory.

    Returns
    -------
    ndarray, shape (count, channels)
        At whole positions with ``step == 1`` exactly the samples of the file.

    Notes
    -----
    Kaiser-windowed sinc over 128 samples: errors below -110 dB up to 0.94 of half the sampling rate (20.7 kHz
    at 44.1 kHz), sound above that is attenuated. A moving fraction is followed by a polynomial of order 10 in
    the fraction, good to -150 dB.
    """
    if step == 1 and float(first).is_integer():
        return read_padded(source, int(first), int(first) + count)
    return Between(source, first=first, step=step, count=count).at(0.0)


class Between:
    """Values between the samples of a source, prepared for many readings around one place.

    Parameters as for `read_at`; readings may start up to `slack` frames to either side of `first`. Where a
    `response` is given, shape (m, channels), the chosen `channels` are sent through it first.
    """

    def __init__(
        self,
        source: Frames,
        *,
        first: float,
        step: float,
        count: int,
        slack: int = 0,
        channels: tuple[int, ...] | None = None,
        response: Array | None = None,
    ) -> None:
        if abs(step - 1) > 5e-3:
            raise ValueError(f"step must lie within 0.5 % of 1, got {step}")
        self._first, self._step, self._count = first, step, count
        around = REACH + 1 + slack  # of which a slope takes the one
        before = 0 if response is None else len(response) - 1
        self._origin = int(np.floor(first)) - around - before
        last = int(np.floor(first + step * (count - 1)))
        samples = read_padded(source, self._origin, last + around + 2)
        samples = samples if channels is None else samples[:, channels]
        self._kept = samples.shape[0]
        self._size = scipy.fft.next_fast_len(self._kept + 2 * REACH + 1 + before, real=True)
        self._spectrum = scipy.fft.rfft(samples, self._size, axis=0)
        if response is not None:
            self._spectrum *= scipy.fft.rfft(response, self._size, axis=0)
        self._terms = None if step == 1 else self._filtered(_polynomial_kernels())

    def at(self, offset: float) -> Array:
        """Values from ``first + offset`` on; shape (count, channels)."""
        if self._terms is None:
            return self._from(offset, _kernel((self._first + offset) % 1), 0)
        positions = self._first + offset + self._step * np.arange(self._count)
        whole = np.floor(positions)
        index = (whole - self._origin - REACH).astype(np.intp)
        return _horner(self._terms, index, positions - whole - 0.5)

    def slope(self, offset: float) -> Array:
        """Twice the difference of the values a quarter frame ahead and behind; shape (count, channels)."""
        if self._terms is not None:
            return 2 * (self.at(offset + 0.25) - self.at(offset - 0.25))
        distance = np.arange(-REACH - 1, REACH + 2, dtype=np.float64) - (self._first + offset) % 1
        return self._from(offset, 2 * (_sinc(distance - 0.25) - _sinc(distance + 0.25)), 1)

    def _from(self, offset: float, kernel: Array, wider: int) -> Array:
        start = int(np.floor(self._first + offset)) - self._origin - REACH - wider
        return np.asarray(self._filtered(kernel[None, :])[0][start : start + self._count])

    def _filtered(self, kernels: Array) -> Array:
        """Correlate every channel with every kernel; shape (kernels, n - taps + 1, channels)."""
        responses = scipy.fft.rfft(kernels[:, ::-1], self._size, axis=1)
        full = scipy.fft.irfft(self._spectrum[None] * responses[:, :, None], self._size, axis=1)
        return np.asarray(full[:, kernels.shape[1] - 1 : self._kept])


def _horner(terms: Array, index: Array, fraction: Array) -> Array:
    value = terms[-1][index]
    for term in terms[-2::-1]:
        value = value * fraction[:, None] + term[index]
    return np.asarray(value)


def _sinc(distance: Array) -> Array:
    inside = np.clip(1 - (distance / REACH) ** 2, 0.0, None)
    return np.asarray(
        np.sinc(distance) * scipy.special.i0(_BETA * np.sqrt(inside)) / scipy.special.i0(_BETA) * (inside > 0)
    )


def _kernel(fraction: float) -> Array:
    """Weights of the samples from ``floor - REACH`` on, for a position `fraction` behind its floor."""
    return _sinc(np.arange(-REACH, REACH + 1, dtype=np.float64) - fraction)


@cache
def _polynomial_kernels() -> Array:
    """Weights as a polynomial in (fraction - 0.5): shape (order + 1, 2 REACH + 1), lowest power first."""
    nodes = np.cos(np.pi * (np.arange(_FRACTION_NODES) + 0.5) / _FRACTION_NODES)
    table = np.array([_kernel(0.5 + node / 2) for node in nodes])
    fitted = chebyshev.chebfit(nodes, table, _ORDER)
    to_powers = np.zeros((_ORDER + 1, _ORDER + 1))
    for degree in range(_ORDER + 1):
        to_powers[: degree + 1, degree] = chebyshev.cheb2poly(np.eye(_ORDER + 1)[degree, : degree + 1])
    return np.asarray(2.0 ** np.arange(_ORDER + 1)[:, None] * (to_powers @ fitted))
