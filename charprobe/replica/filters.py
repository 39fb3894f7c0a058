"""Filter sections at any sampling rate, forwards and backwards, as one impulse response."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from charprobe.replica.parts import Section
from charprobe.values.arrays import Array, Complex

HALF = 0.49999  # of a digital filter's rate: what a higher one plays above is as there
MIN_TAPS = 4096
MAX_TAPS = 1 << 18
_PERIODS = 6  # of the lowest corner that an impulse response spans
_PERIODS_BACK = 4  # backwards, of the frequency where a first-order cut is no longer lifted
MOST_LIFT_DB = 26.0  # what lies deeper below the pass band does not come back


def response(sections: tuple[Section, ...], frequency_hz: Array) -> Complex:
    """Complex gain of sections in series at each frequency.

    Examples
    --------
    >>> gain = response((Section("low cut", 100.0),), np.array([100.0]))
    >>> round(float(20 * np.log10(abs(gain[0]))), 2)
    -3.01
    """
    total = np.ones(np.shape(frequency_hz), dtype=complex)
    for section in sections:
        top, bottom = _polynomials(section)
        corner = _warped(np.array(section.frequency_hz), section)
        u = 1j * _warped(np.asarray(frequency_hz), section) / corner
        total = total * np.polyval(top[::-1], u) / np.polyval(bottom[::-1], u)
    return np.asarray(total)


def _warped(frequency_hz: Array, section: Section) -> Array:
    """The frequency at which the analogue section does what this one does here."""
    if not section.digital_hz:
        return frequency_hz
    return np.asarray(np.tan(np.pi * np.minimum(frequency_hz / section.digital_hz, HALF)))


def _polynomials(section: Section) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Numerator and denominator by rising powers of ``j f / corner``."""
    flat = (1.0, 1.0) if section.order == 1 else (1.0, math.sqrt(2), 1.0)
    last = section.order
    if section.kind == "low cut":
        return (*[0.0] * last, 1.0), flat
    if section.kind == "high cut":
        return (1.0,), flat
    if section.kind == "bell":
        root = 10 ** (section.gain_db / 40)
        return (1.0, root / section.q, 1.0), (1.0, 1 / (root * section.q), 1.0)
    root = 10 ** (section.gain_db / 40 / last)
    up = tuple(weight * root**power for power, weight in enumerate(flat))
    down = tuple(weight * root**-power for power, weight in enumerate(flat))
    return (up, down) if section.kind == "high shelf" else (up[::-1], down[::-1])


@lru_cache(maxsize=16)
def taps(sections: tuple[Section, ...], *, rate_hz: float, backwards: bool) -> tuple[Array, int]:
    """Impulse response of sections, or of what undoes them, and the samples it holds ahead of time 0.

    Backwards, what lies `MOST_LIFT_DB` below the greatest gain, and the gains of shelves and bells further,
    comes back by half, and less of what lies deeper.
    """
    lowest_hz = min(section.slowest_hz for section in sections)
    periods = _PERIODS_BACK * 10 ** (MOST_LIFT_DB / 20) if backwards else _PERIODS
    wanted = max(MIN_TAPS, periods * rate_hz / lowest_hz)
    count = min(MAX_TAPS, 1 << math.ceil(math.log2(wanted)))
    gain = response(sections, np.linspace(0, rate_hz / 2, count // 2 + 1))
    before = count // 4
    if backwards:
        lift_db = MOST_LIFT_DB + sum(abs(section.gain_db) for section in sections)
        least = np.abs(gain).max() * 10 ** (-lift_db / 20)
        size = np.abs(gain)
        gain, before = np.conj(gain) * size**2 / (size**4 + least**4), count // 2
    return np.roll(np.fft.irfft(gain, count), before), before
