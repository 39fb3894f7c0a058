"""Filters of made-up sound, known by their response and applied by transforms; no package is loaded."""

from __future__ import annotations

import numpy as np

from charprobe.values.arrays import Array, Complex
from charprobe.values.fast_length import fast_length

RINGS_PERIODS = 30.0  # of the lowest corner, within which every filter here has died away to the last bit


def transform(sound: Array, *, rings_s: float, rate_hz: int) -> tuple[Complex, Array]:
    """Return the spectrum of a sound, with room for a filter to ring, and the angular frequency of bins."""
    size = fast_length(sound.size + round(rings_s * rate_hz))
    spectrum = np.fft.rfft(sound, size)
    return spectrum, np.asarray(2 * np.pi / size * np.arange(spectrum.size), dtype=np.float64)


def sounding(spectrum: Complex, omega: Array, count: int) -> Array:
    """Return the first `count` samples of a filtered spectrum's sound; `omega` as from `transform`."""
    return np.fft.irfft(spectrum, round(2 * np.pi / omega[1]))[:count]


def low_pass(sound: Array, *, order: int, corner_hz: float, rate_hz: int) -> Array:
    """Filter a sound by a maximally flat low-pass whose zeros lie at half the rate.

    Examples
    --------
    >>> struck = np.zeros(4800)
    >>> struck[0] = 1.0
    >>> response = np.abs(np.fft.rfft(low_pass(struck, order=6, corner_hz=1000.0, rate_hz=48_000)))
    >>> [round(float(20 * np.log10(response[at])), 2) for at in (10, 100, 200)]
    [-0.0, -3.01, -36.35]
    """
    spectrum, omega = transform(sound, rings_s=RINGS_PERIODS / corner_hz, rate_hz=rate_hz)
    over = np.tan(omega / 2) / np.tan(np.pi * corner_hz / rate_hz)
    return sounding(spectrum / _falling(over, order), omega, sound.size)


def band_pass(sound: Array, *, order: int, corners_hz: tuple[float, float], rate_hz: int) -> Array:
    """Filter a sound by the band-pass that a low-pass of `order` turns into."""
    spectrum, omega = transform(sound, rings_s=RINGS_PERIODS / corners_hz[0], rate_hz=rate_hz)
    low, high = (np.tan(np.pi * corner_hz / rate_hz) for corner_hz in corners_hz)
    bent = np.maximum(np.tan(omega / 2), np.finfo(float).tiny ** 0.1)
    over = (bent**2 - low * high) / (bent * (high - low))
    return sounding(spectrum / _falling(over, order), omega, sound.size)


def _falling(over: Array, order: int) -> Complex:
    """By what the maximally flat low-pass divides at frequencies `over` its corner; its poles go in pairs."""
    by: Complex = np.ones(over.size, np.complex128)
    if order % 2:
        by += 1j * over
    for k in range(order // 2):
        by *= 1 - over**2 + 2j * np.sin(np.pi * (k + 0.5) / order) * over
    return by
