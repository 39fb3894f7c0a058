"""Tones through a cubic, and what its harmonics are by the multiple-angle formulas."""

import numpy as np

from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.cut import Cut

RATE_HZ = 48_000.0


A2, A3 = -0.02, 0.05


TONES = tuple(
    Tone(4800 + 20_000 * i, 19_200, f, level, 0.0, 240, i)
    for i, (f, level) in enumerate([(110.0, -10.0), (997.0, -10.0), (997.0, -30.0), (5003.0, -10.0)])
)


def played(position):
    out = np.zeros(position.size)
    for tone in TONES:
        edge = np.clip(np.minimum(position - tone.start, tone.stop - position) / 240, 0, 1)
        envelope = 10 ** (tone.level_dbfs / 20) * (0.5 - 0.5 * np.cos(np.pi * edge))
        out += envelope * np.cos(2 * np.pi * tone.frequency_hz * (position - tone.start) / RATE_HZ)
    return out


def capture(ppm=0.0, noise_rms=0.0, rng=None, device=lambda x: x + A2 * x**2 + A3 * x**3):
    step = 1 - 1e-6 * ppm
    position = 0.41 + step * np.arange(90_000)
    samples = device(played(position))
    if rng is not None:
        samples = samples + rng.normal(0, noise_rms, samples.size)
    return Cut(samples, 0.41, step, RATE_HZ)


def truths(level_dbfs):
    """H2 and H3 over the fundamental, signed: multiple-angle formulas."""
    a = 10 ** (level_dbfs / 20)
    fundamental = a + 0.75 * A3 * a**3
    return A2 * a**2 / 2 / fundamental, A3 * a**3 / 4 / fundamental
