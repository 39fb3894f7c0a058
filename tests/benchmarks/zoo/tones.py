"""A steady tone through a stage until nothing moves any more, and what its last second holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.benchmarks.zoo.stage import Array, Stage

ORDERS = 10
RAMP_S = 0.005
LEFT_OUT_S = 0.02  # of a tone's end: filters of a stage that end with the sound ring there


@dataclass(frozen=True)
class Settled:
    """Gain of the fundamental in dB, and levels of orders 2 to 10 over it in dBc (-inf above half the rate)."""

    gain_db: float
    harmonics_dbc: tuple[float, ...]

    @property
    def thd_dbc(self) -> float:
        """Root sum of squares of all orders."""
        return float(10 * np.log10(sum(10 ** (level / 10) for level in self.harmonics_dbc) + 1e-30))


def settled(stage: Stage, asked: Sequence[tuple[float, float]], rate_hz: int) -> list[Settled]:
    """Play tones of (frequency in whole Hz, level in dBFS) from rest and read whole periods of their ends."""
    sounds = [tone(stage, frequency_hz, level, rate_hz) for frequency_hz, level in asked]
    outs = stage.answers(sounds, rate_hz)
    end = -round(LEFT_OUT_S * rate_hz)
    last = slice(end - rate_hz, end)
    return [
        _read(out.sound[last], sound[last], frequency_hz, rate_hz)
        for out, sound, (frequency_hz, _) in zip(outs, sounds, asked, strict=True)
    ]


def tone(stage: Stage, frequency_hz: float, level_dbfs: float, rate_hz: int) -> Array:
    """A tone with a soft start that lasts a second, and its end, longer than the stage takes to settle."""
    if frequency_hz != round(frequency_hz):
        raise ValueError(f"one second of {frequency_hz} Hz is not a whole number of periods")
    n = np.arange(round((stage.warm_s + stage.late_s + LEFT_OUT_S) * rate_hz) + rate_hz)
    rise = np.sin(np.pi / 2 * np.minimum(1.0, (n + 0.5) / (RAMP_S * rate_hz))) ** 2
    return np.asarray(10 ** (level_dbfs / 20) * rise * np.cos(2 * np.pi * (frequency_hz / rate_hz * n % 1.0)))


def _read(out: Array, played: Array, frequency_hz: float, rate_hz: int) -> Settled:
    first = round(frequency_hz)
    spectrum = np.abs(np.fft.rfft(out)) / np.abs(np.fft.rfft(played)[first])
    lines = [spectrum[k * first] if k * first < rate_hz / 2 else 0.0 for k in range(1, ORDERS + 1)]
    levels = [float(20 * np.log10(max(line / lines[0], 1e-15))) for line in lines[1:]]
    return Settled(float(20 * np.log10(lines[0])), tuple(levels))
