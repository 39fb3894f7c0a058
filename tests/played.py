"""Captures in closed form: every sound of a stimulus evaluated where a recorder's clock samples it."""

import numpy as np

from charprobe.files.sound.source import MemoryCapture
from charprobe.stimulus.ident import IDENT_S, SYMBOL_S, TONES_HZ, ident_symbols
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Tones
from charprobe.stimulus.marker import sync_value
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out

RATE_HZ = 48_000

SHORT = (
    LevelSteps("steps", 997.0, -50.0, -10.0, 10.0, 0.3),
    Tones("harmonics", (443.0, 2503.0, 7001.0), (-30.0, -10.0), 0.3),
    Bursts("bursts", 3989.0, 4, -30.0, -6.0, 0.15, hold_s=0.2, release_s=0.4),
)


def short_stimulus(rate_hz=RATE_HZ, take=7, summary="steps and bursts for tests of placing"):
    return lay_out(Recipe("short", summary, SHORT), rate_hz=rate_hz, take=take)


def sound_at(stimulus, position):
    """The stimulus at rising fractional positions; tones switch hard, sweeps are left out."""
    rate_hz = stimulus.rate_hz
    out = np.zeros(position.size)
    sync = 10 ** (stimulus.recipe.sync_dbfs / 20)

    def inside(start, stop):
        return slice(*np.searchsorted(position, [start, stop]))

    for marker, span in (("opening", stimulus.opening), ("closing", stimulus.closing)):
        part = inside(span.start, span.stop)
        out[part] += sync * sync_value(marker, position[part] - span.start, rate_hz=rate_hz)
    part = inside(stimulus.ident.start, stimulus.ident.stop)
    time_s = (position[part] - stimulus.ident.start) / rate_hz
    symbols = np.array(ident_symbols(stimulus.recipe.hash[:6], stimulus.take))
    hz = TONES_HZ[symbols[np.minimum((time_s / SYMBOL_S).astype(int), symbols.size - 1)]]
    out[part] += sync * np.sin(2 * np.pi * hz * time_s) * (time_s < IDENT_S)
    for segment in stimulus.segments:
        for tone in segment.tones:
            part = inside(tone.start, tone.stop)
            phase = 2 * np.pi * tone.frequency_hz * (position[part] - tone.start) / rate_hz + tone.phase_rad
            out[part] += 10 ** (tone.level_dbfs / 20) * np.cos(phase)
    return out


def recorded(stimulus, *, delay, drift_ppm=0.0, frames=None, gain=1.0, noise=None, noise_dbfs=-110.0):
    """Samples of a recorder late by `delay` capture samples and fast by `drift_ppm`; noise from an rng."""
    factor = 1 + 1e-6 * drift_ppm
    if frames is None:
        frames = int(np.ceil(delay + stimulus.length * factor)) + 100
    samples = gain * sound_at(stimulus, (np.arange(frames) - delay) / factor)
    if noise is not None:
        samples = samples + noise.normal(0, 10 ** (noise_dbfs / 20) / np.sqrt(2), frames)
    return samples


def capture(samples, rate_hz=RATE_HZ, name="take.wav"):
    return MemoryCapture(samples, rate_hz=rate_hz, name=name)
