"""Colour: memoryless curves with harmonics in closed form, applied without aliasing."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import scipy

from charprobe.simulation.devices.parts.oversampling import shape_oversampled
from charprobe.simulation.devices.stage import REFERENCE_DBFS, REFERENCE_HZ, StageOutput, TrueValue
from charprobe.values.arrays import Array, Complex

HIGHEST = 10  # order of the last harmonic stated
LINE_POINTS = 1024  # of one period: aliasing of orders from 1014 up, which no curve here reaches above 1e-15


class Curve(Protocol):
    """A memoryless curve with unit slope at the origin."""

    def __call__(self, x: Array) -> Array:
        """Output of the curve, shape of `x`."""


@dataclass(frozen=True)
class Polynomial:
    """``y = x + c[0] x**2 + c[1] x**3 + ...``: harmonics end at the polynomial's order and are exact.

    A cosine of amplitude A gives, by the multiple-angle formulas, e.g. H2 = c2 A**2/2 + c4 A**4/2 and
    H3 = c3 A**3/4 + 5 c5 A**5/16, fundamental A + 3 c3 A**3/4 + 5 c5 A**5/8.
    """

    coefficients: tuple[float, ...]

    def __call__(self, x: Array) -> Array:
        """Output of the curve."""
        return np.asarray(x * np.polyval((*self.coefficients[::-1], 1.0), x))


@dataclass(frozen=True)
class Saturation:
    """``y = (tanh(d (x + b)) - tanh(d b)) / (d (1 - tanh(d b)**2))``: symmetric for bias b = 0."""

    drive: float
    bias: float = 0.0

    def __call__(self, x: Array) -> Array:
        """Output of the curve."""
        rest = math.tanh(self.drive * self.bias)
        return np.asarray((np.tanh(self.drive * (x + self.bias)) - rest) / (self.drive * (1 - rest**2)))


def lines(curve: Curve, level_dbfs: float) -> Complex:
    """Complex amplitudes of orders 0 to `HIGHEST` for a cosine of that level, exact to rounding.

    Returns
    -------
    ndarray, shape (HIGHEST + 1,), complex
        ``abs`` is the amplitude and ``angle`` the phase of ``cos(n w t + angle)``; the input has phase 0.
    """
    phase = 2 * np.pi * np.arange(LINE_POINTS) / LINE_POINTS
    spectrum = np.fft.rfft(curve(10 ** (level_dbfs / 20) * np.cos(phase))) / LINE_POINTS
    return np.asarray(np.concatenate([spectrum[:1], 2 * spectrum[1 : HIGHEST + 1]]))


def harmonics_dbc(lines: Complex) -> Array:
    """Levels of orders 2 to 10 relative to the fundamental, shape (9,); -inf where there is none."""
    tone = np.abs(lines)
    with np.errstate(divide="ignore"):
        return np.asarray(20 * np.log10(tone[2:] / tone[1]))


def harmonics_truth(levels_dbc: Array, *, note: str) -> dict[str, TrueValue]:
    """Harmonics of order 2 on, so far as they lie above -140 dBc, under their published names."""
    return {
        f"colour.h{order}_at_reference": TrueValue(float(level), "dBc", note=note)
        for order, level in enumerate(levels_dbc, start=2)
        if level > -140
    }


def thd_db(curve: Curve, level_dbfs: float) -> float:
    """Root of the summed squares of orders 2 to `HIGHEST` re the fundamental, in dB; -inf if none."""
    tone = np.abs(lines(curve, level_dbfs))
    with np.errstate(divide="ignore"):
        return float(20 * np.log10(np.linalg.norm(tone[2:]) / tone[1]))


def input_at_thd_dbfs(curve: Curve, thd: float) -> float:
    """Level, from -100 to 0 dBFS, at which `thd_db` reaches `thd`; ValueError if it does not."""
    if not thd_db(curve, -100.0) < thd < thd_db(curve, 0.0):
        raise ValueError(f"distortion does not pass {thd} dB between -100 and 0 dBFS")
    return float(scipy.optimize.brentq(lambda level: thd_db(curve, level) - thd, -100.0, 0.0))


@dataclass(frozen=True)
class Shaper:
    """A memoryless colour stage; its gain trace is the make-up alone.

    Attributes
    ----------
    curve : Polynomial or Saturation
        The curve, unit slope at the origin.
    drive_db : float
        Gain in front of the curve, taken back behind it.
    makeup_db : float
        Gain behind all else.
    oversampled : bool
        Four-fold, see `oversampling`; without it products beyond half the rate fold back, as in a careless
        emulation, and the closed lines hold only where none lands on them.
    """

    name: str
    summary: str
    curve: Polynomial | Saturation
    drive_db: float = 0.0
    makeup_db: float = 0.0
    oversampled: bool = True

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through the stage; see `Stage`."""
        drive, after = 10 ** (self.drive_db / 20), 10 ** ((self.makeup_db - self.drive_db) / 20)

        def shape(x: Array) -> Array:
            return np.asarray(after * self.curve(drive * x))

        out = shape_oversampled(samples, shape) if self.oversampled else shape(samples)
        return StageOutput(out, np.full(samples.size, self.makeup_db))

    def lines(self, level_dbfs: float) -> Complex:
        """Complex amplitudes of orders 0 to 10 at the output for a cosine at the input; see `lines`."""
        return lines(self.curve, level_dbfs + self.drive_db) * 10 ** ((self.makeup_db - self.drive_db) / 20)

    def harmonics_dbc(self, level_dbfs: float) -> Array:
        """Levels of orders 2 to 10 relative to the fundamental; see `harmonics_dbc`."""
        return harmonics_dbc(self.lines(level_dbfs))

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """Gain of the fundamental, in closed form; see `Stage`."""
        gains = [
            20 * math.log10(abs(self.lines(float(level))[1])) - float(level) for level in np.ravel(level_dbfs)
        ]
        return np.array(gains).reshape(np.shape(level_dbfs))

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """Harmonics at `REFERENCE_DBFS` above -140 dBc, and the levels of given distortion; see `Stage`."""
        note = f"at {REFERENCE_DBFS:g} dBFS"
        known = {
            "path.latency": TrueValue(0.0, "s"),
            "static.low_level_gain": TrueValue(self.makeup_db, "dB"),
            **harmonics_truth(self.harmonics_dbc(REFERENCE_DBFS), note=note),
        }
        thd = thd_db(self.curve, REFERENCE_DBFS + self.drive_db)
        known["colour.thd_at_reference"] = TrueValue(thd, "dBc", note=note)
        for name, reached in (("minus60db", -60.0), ("minus40db", -40.0)):
            if thd_db(self.curve, -100.0) < reached < thd_db(self.curve, self.drive_db):
                level = input_at_thd_dbfs(self.curve, reached) - self.drive_db
                known[f"colour.input_at_thd_{name}"] = TrueValue(level, "dBFS")
        return known
