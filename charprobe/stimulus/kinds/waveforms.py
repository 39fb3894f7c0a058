"""Waveforms of one peak level and different crest factors, each a sum of few exact partials."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from charprobe.values.arrays import Array

PER_FUNDAMENTAL = 8  # all partials are multiples of the fundamental over this: so often a waveform repeats
POINTS = 8192  # of one repetition, at which the peak is taken
NORM_POINTS = 1024  # and the norms


@dataclass(frozen=True)
class Waveform:
    """One waveform of peak 1: a sum of ``a cos(2 pi m f / 8 t + phase)`` over its partials.

    Attributes
    ----------
    name : str
        Plain name.
    multiples : tuple of int
        ``m`` of each partial; 8 is the fundamental.
    relative : tuple of float
        Amplitudes before the sum is brought to peak 1.
    phases_rad : tuple of float
        Phase of each partial; the fundamental's is 0.
    """

    name: str
    multiples: tuple[int, ...]
    relative: tuple[float, ...]
    phases_rad: tuple[float, ...]

    def _raw(self, turns: Array) -> Array:
        """Sum of the partials before scaling, at times counted in repetitions."""
        parts = zip(self.multiples, self.relative, self.phases_rad, strict=True)
        waves = [a * np.cos(2 * np.pi * ((m * turns) % 1.0) + p) for m, a, p in parts]
        return np.asarray(np.sum(waves, axis=0))

    @cached_property
    def scale(self) -> float:
        """Factor that brings the peak to 1."""
        return 1 / float(np.abs(self._raw(np.arange(POINTS) / POINTS)).max())

    @property
    def amplitudes(self) -> Array:
        """Amplitude of each partial of the waveform of peak 1."""
        return self.scale * np.array(self.relative)

    def at(self, turns: Array) -> Array:
        """Waveform at times counted in repetitions (eight periods of the fundamental)."""
        return self.scale * self._raw(turns)

    def norm_db(self, exponent: float) -> float:
        """Return its p-norm over that of a sine of the same peak, in dB; `exponent` is p, above 0."""
        return _norm_db(self._magnitudes, exponent) - _norm_db(SINE._magnitudes, exponent)

    @cached_property
    def _magnitudes(self) -> Array:
        return np.abs(self.at((np.arange(NORM_POINTS) + 0.5) / NORM_POINTS))


def _norm_db(samples: Array, exponent: float) -> float:
    return float(20 / exponent * np.log10(np.mean(np.abs(samples) ** exponent)))


SINE = Waveform("sine", (8,), (1.0,), (0.0,))
SQUARE_LIKE = Waveform(  # a square wave without orders above 7, its overshoot smoothed away
    "square-like",
    (8, 24, 40, 56),
    (1.0, -0.2122, 0.0764, -0.0214),
    (0.0, 0.0, 0.0, 0.0),
)
TWO_TONE = Waveform("two-tone", (8, 21), (1.0, 1.0), (0.0, 0.0))
MULTITONE = Waveform(  # many partials in mixed phases: near to Gaussian
    "multitone",
    (8, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47),
    (1.0,) * 12,
    (0.0, 2.1, 4.9, 0.7, 3.3, 5.6, 1.4, 2.9, 0.2, 4.1, 5.2, 1.9),
)
WAVEFORMS = (MULTITONE, TWO_TONE, SINE, SQUARE_LIKE)
"""In playing order at each peak level: any mean of one is above that of the one before, so gain falls."""
