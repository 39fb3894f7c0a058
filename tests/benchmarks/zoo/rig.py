"""The recorder of the zoo: latency, another clock, noise and 24 bits, nothing else."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from tests.benchmarks.zoo.stage import Array

TAPS, PHASES = 128, 4096
BETA = 11.0  # side lobes of the interpolating kernel below -110 dB


@dataclass(frozen=True)
class Recorder:
    """A path and a converter: `late` samples of delay, a clock `drift_ppm` fast, `noise_dbfs` of white noise.

    Another `draw` is other noise: chance must not strike one stage at every seed of its parameters.
    """

    late: float = 131.37
    drift_ppm: float = 12.0
    noise_dbfs: float = -100.0
    bits: int = 24
    draw: int = 0

    def record(self, sound: Array, *, rate_hz: int, seed: int) -> Array:
        """What ends up in the file, with 0.2 s before and after."""
        edge = round(0.2 * rate_hz)
        count = int(np.ceil(sound.size * (1 + 1e-6 * abs(self.drift_ppm)) + self.late)) + 2 * edge
        at = (np.arange(count) - edge - self.late) / (1 + 1e-6 * self.drift_ppm)
        line = between(sound, at, _kernel())
        rms = 10 ** (self.noise_dbfs / 20) / np.sqrt(2)
        line += np.random.default_rng([seed, self.draw]).normal(0.0, rms, count)
        steps = 2.0 ** (self.bits - 1)
        return np.asarray(np.clip(np.round(line * steps), -steps, steps - 1) / steps)


def _kernel() -> Array:
    """A windowed sinc, a row for each fraction of a sample; rows sum to 1."""
    fraction = np.arange(PHASES + 1)[:, None] / PHASES
    offset = np.arange(TAPS)[None, :] - (TAPS // 2 - 1) - fraction
    window = np.i0(BETA * np.sqrt(np.clip(1 - np.square(2 * offset / TAPS), 0.0, 1.0))) / np.i0(BETA)
    rows = np.sinc(offset) * window
    return np.asarray(rows / rows.sum(axis=1, keepdims=True))


@njit(cache=True)
def between(sound: Array, at: Array, kernel: Array) -> Array:
    """Sound at any positions, in samples; silence outside."""
    out = np.zeros(at.size)
    taps, phases = kernel.shape[1], kernel.shape[0] - 1
    for n in range(at.size):
        whole = int(np.floor(at[n]))
        row = (at[n] - whole) * phases
        low = int(row)
        rest = row - low
        first = whole - (taps // 2 - 1)
        if first + taps <= 0 or first >= sound.size:
            continue
        total = 0.0
        for k in range(max(0, -first), min(taps, sound.size - first)):
            total += ((1 - rest) * kernel[low, k] + rest * kernel[low + 1, k]) * sound[first + k]
        out[n] = total
    return out
