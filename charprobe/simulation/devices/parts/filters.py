"""Filters with the response of their analogue closed form up to 20 kHz."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from charprobe.simulation.devices.parts.oversampling import PASS
from charprobe.simulation.devices.stage import REFERENCE_HZ, StageOutput, TrueValue
from charprobe.values.arrays import Array, Complex
from charprobe.values.fast_length import fast_length

MIN_TAPS = 8192
BLOCK_TAPS = 4  # lengths of the impulse response in one transform


@dataclass(frozen=True)
class Section:
    """One analogue section ``(b0 + b1 u + b2 u**2)/(a0 + a1 u + a2 u**2)``, u = j f / corner_hz."""

    corner_hz: float
    numerator: tuple[float, ...]
    denominator: tuple[float, ...]

    def response(self, frequency_hz: Array) -> Complex:
        """Complex gain at each frequency."""
        u = 1j * np.asarray(frequency_hz) / self.corner_hz
        return np.asarray(np.polyval(self.numerator[::-1], u) / np.polyval(self.denominator[::-1], u))


def treble_shelf(*, corner_hz: float, gain_db: float) -> Section:
    """First-order shelf: 0 dB far below, `gain_db` far above, half of it (in dB) at the corner."""
    root = 10 ** (gain_db / 40)
    return Section(corner_hz, (1.0, root), (1.0, 1 / root))


def bass_shelf(*, corner_hz: float, gain_db: float) -> Section:
    """First-order shelf: `gain_db` far below, 0 dB far above, half of it (in dB) at the corner."""
    root = 10 ** (gain_db / 40)
    return Section(corner_hz, (root, 1.0), (1 / root, 1.0))


def high_pass(*, corner_hz: float) -> Section:
    """First-order low corner, -3.01 dB at the corner."""
    return Section(corner_hz, (0.0, 1.0), (1.0, 1.0))


def low_pass(*, corner_hz: float) -> Section:
    """First-order high corner, -3.01 dB at the corner."""
    return Section(corner_hz, (1.0,), (1.0, 1.0))


@dataclass(frozen=True)
class Filter:
    """Analogue sections in series: a linear stage with an exact response.

    The samples are convolved with the impulse response whose spectrum is the analogue response up to half the
    sampling rate, so there is no bilinear warping. Above `PASS` of the rate it is faded out to nothing at
    half the rate, as a converter would, which keeps the impulse response short.
    """

    name: str
    summary: str
    sections: tuple[Section, ...]
    known: Mapping[str, TrueValue]

    def response(self, frequency_hz: Array) -> Complex:
        """Complex gain at each frequency, in closed form."""
        total = np.ones(np.shape(frequency_hz), dtype=complex)
        for section in self.sections:
            total = total * section.response(frequency_hz)
        return total

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through the filter; the gain trace is 0 dB."""
        taps = _taps(self.sections, rate_hz)
        before = taps.size // 4
        out = _convolved(samples, taps)[before : before + samples.size]
        return StageOutput(out, np.zeros(samples.size))

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """Gain at the frequency, the same at every level; see `Stage`."""
        gain = 20 * math.log10(abs(self.response(np.array([frequency_hz]))[0]))
        return np.full(np.shape(level_dbfs), gain)

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """Corners and shelves as built; its delay differs with frequency, within the largest; see `Stage`."""
        return {"path.latency": TrueValue(0.0, "s", self._largest_delay_s()), **self.known}

    def _largest_delay_s(self) -> float:
        """Largest group delay in size from 300 Hz to 20 kHz."""
        frequency_hz = np.geomspace(300, 20_000, 400)
        phase = np.unwrap(np.angle(self.response(frequency_hz)))
        return float(np.max(np.abs(np.diff(phase) / np.diff(frequency_hz)))) / (2 * math.pi)


def _convolved(samples: Array, taps: Array) -> Array:
    """Overlap and add; shape (samples.size + taps.size - 1,)."""
    size = fast_length(BLOCK_TAPS * taps.size)
    step, spectrum = size - taps.size + 1, np.fft.rfft(taps, size)
    out = np.zeros(samples.size + taps.size - 1)
    for start in range(0, samples.size, step):
        piece = np.fft.irfft(np.fft.rfft(samples[start : start + step], size) * spectrum, size)
        out[start : start + size] += piece[: out.size - start]
    return out


@lru_cache(maxsize=8)
def _taps(sections: tuple[Section, ...], rate_hz: float) -> Array:
    """Impulse response, delayed by a quarter of its length."""
    lowest_hz = min(section.corner_hz for section in sections)
    count = max(MIN_TAPS, 1 << math.ceil(math.log2(6 * rate_hz / lowest_hz)))
    frequency_hz = np.linspace(0, rate_hz / 2, count // 2 + 1, dtype=np.float64)
    response = np.ones(frequency_hz.size, dtype=complex)
    for section in sections:
        response = response * section.response(frequency_hz)
    fade = np.clip((frequency_hz / rate_hz - PASS) / (0.5 - PASS), 0, 1)
    response = response * (0.5 + 0.5 * np.cos(np.pi * fade))
    return np.roll(np.fft.irfft(response, count), count // 4)
