"""Randomised devices with closed-form static curves, and what a drifting recorder makes of them.

The device knows the envelope of the stimulus exactly, looks its reduction up on the closed-form curve and smooths
that in dB with one attack and one release time; the capture is evaluated at the very instants at which
the recorder samples, so nothing here resamples, aligns or estimates anything.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from charprobe.estimators.static.curve import FLOOR_DB
from charprobe.stimulus.kinds.segment import RAMP_S, Segment
from charprobe.values.cut import Cut

CONTROL_S = 2.5e-4
LEAD_SAMPLES = 300
BEFORE_DBFS, BEFORE_S = -40.0, 1.5  # what was played before the steps, and how long ago it ended


@dataclass(frozen=True)
class Bend:
    """Reduction beyond a corner: ``slope`` dB per dB, quadratic knee; `below` acts on the other side."""

    corner_dbfs: float
    slope: float
    knee_db: float = 0.0
    below: bool = False

    def reduction_db(self, level):
        over = self.corner_dbfs - level if self.below else level - self.corner_dbfs
        if self.knee_db == 0:
            return self.slope * np.maximum(over, 0)
        inside = np.clip(over + self.knee_db / 2, 0, self.knee_db)
        return self.slope * (inside**2 / (2 * self.knee_db) + np.maximum(0, over - self.knee_db / 2))


@dataclass(frozen=True)
class Device:
    """A device under test and the path around it."""

    kind: str
    bends: tuple[Bend, ...] = ()
    makeup_db: float = 0.0
    attack_s: float = 0.005
    release_s: float = 0.1
    noise_dbfs: float = -110.0
    drift_ppm: float = 0.0
    path_db: float = 0.0
    phase_rad: float = field(default=0.0)

    def reduction_db(self, level_dbfs):
        return sum((bend.reduction_db(level_dbfs) for bend in self.bends), np.zeros(np.shape(level_dbfs)))


def draw_compressor(rng):
    """Draw from the ranges in which real compressors lie; one in ten is a limiter, one in five has a hard knee."""
    ratio = np.inf if rng.random() < 0.1 else np.exp(rng.uniform(np.log(1.2), np.log(30)))
    knee = 0.0 if rng.random() < 0.2 else rng.uniform(0, 20)
    return _surrounded(rng, "compressor", (Bend(rng.uniform(-45, -6), 1 - 1 / ratio, knee),))


def draw_other_shape(rng):
    """Draw a device that is not a plain compressor."""
    kind = rng.choice(
        ["flat", "expander", "expander and compressor", "upward", "two bends", "over", "always"]
    )
    high = Bend(rng.uniform(-25, -15), rng.uniform(0.4, 0.8), rng.uniform(0, 8))
    low = Bend(rng.uniform(-50, -42), rng.uniform(0.5, 3), rng.uniform(0, 4), below=True)
    bends = {
        "flat": (),
        "expander": (low,),
        "expander and compressor": (low, high),
        "upward": (Bend(low.corner_dbfs, -rng.uniform(0.2, 0.7), low.knee_db, below=True),),
        "two bends": (
            Bend(rng.uniform(-35, -28), rng.uniform(0.3, 0.6), rng.uniform(0, 6)),
            Bend(rng.uniform(-14, -8), rng.uniform(0.25, 0.4), rng.uniform(0, 3)),
        ),
        "over": (Bend(high.corner_dbfs, rng.uniform(1.05, 1.4), high.knee_db),),
        "always": (Bend(-90.0, rng.uniform(0.2, 0.6)), high)[: rng.integers(1, 3)],
    }[str(kind)]
    return _surrounded(rng, str(kind), bends)


def _surrounded(rng, kind, bends):
    return Device(
        kind,
        bends,
        makeup_db=rng.uniform(-6, 18),
        attack_s=np.exp(rng.uniform(np.log(1e-4), np.log(0.05))),
        release_s=np.exp(rng.uniform(np.log(0.03), np.log(3.0))),
        noise_dbfs=rng.uniform(-120, -80),
        drift_ppm=rng.uniform(-100, 100),
        path_db=rng.uniform(-3, 3),
        phase_rad=rng.uniform(0, 2 * np.pi),
    )


def record(segment: Segment, device: Device, *, rate_hz: int, rng) -> Cut:
    """Return what comes back of a `level_steps` segment."""
    tones = segment.tones
    step = 1 / (1 + 1e-6 * device.drift_ppm)
    count = int((segment.span.length + 2 * LEAD_SAMPLES) / step)
    start = segment.span.start - LEAD_SAMPLES + rng.random()
    time_s = (start + step * np.arange(count) - segment.span.start) / rate_hz
    length_s = segment.span.length / rate_hz
    control_s = np.arange(0, length_s + CONTROL_S, CONTROL_S)
    amplitude = np.array([10 ** (tone.level_dbfs / 20) for tone in tones])
    gain_db = device.makeup_db - _smoothed(_envelope(control_s, amplitude, length_s), device)
    turns = tones[0].frequency_hz * time_s + (tones[0].phase_rad + device.phase_rad) / (2 * np.pi)
    wave = _envelope(time_s, amplitude, length_s) * np.cos(2 * np.pi * (turns % 1.0))
    own_db = rng.normal(0, FLOOR_DB, amplitude.size)  # the recorder's level errors, one for each step
    gain_db = gain_db + own_db[_index(control_s, amplitude.size, length_s)]
    wave *= 10 ** ((np.interp(time_s, control_s, gain_db) + device.path_db) / 20)
    wave += rng.normal(0, 10 ** (device.noise_dbfs / 20) / np.sqrt(2), count)
    return Cut(wave, start, step, float(rate_hz))


def _index(time_s, steps, length_s):
    """Number of the step at each time."""
    return np.clip((time_s / length_s * steps).astype(int), 0, steps - 1)


def _envelope(time_s, amplitude, length_s):
    """Amplitude of the steps: raised-cosine ramps into each, and out of the last."""
    step_s = length_s / amplitude.size
    index = _index(time_s, amplitude.size, length_s)
    before = np.concatenate([[0.0], amplitude[:-1]])[index]
    rise = 0.5 - 0.5 * np.cos(np.pi * np.clip((time_s - index * step_s) / RAMP_S, 0, 1))
    fade = 0.5 - 0.5 * np.cos(np.pi * np.clip((length_s - time_s) / RAMP_S, 0, 1))
    inside = (time_s >= 0) & (time_s <= length_s)
    return np.where(inside, (before + (amplitude[index] - before) * rise) * fade, 0.0)


def _smoothed(envelope, device):
    target = device.reduction_db(20 * np.log10(np.maximum(envelope, 1e-6))).tolist()
    attack, release = np.exp(-CONTROL_S / np.array([device.attack_s, device.release_s])).tolist()
    state = float(device.reduction_db(np.array(BEFORE_DBFS))) * float(np.exp(-BEFORE_S / device.release_s))
    smoothed = []
    for wanted in target:
        keep = attack if wanted > state else release
        state = keep * state + (1 - keep) * wanted
        smoothed.append(state)
    return np.array(smoothed)
