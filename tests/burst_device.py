"""Bursts through a device whose gain is a formula of time, sampled by a recorder on its own clock."""

import numpy as np

from charprobe.estimators.timing.trace.phase_set import amplitude, bursts_of, carrier_phase
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.values.cut import Cut


def recipe(**changes):
    fields = {"name": "b", "carrier_hz": 3989.0, "phases": 8, "low_dbfs": -40.0, "high_dbfs": -10.0,
              "lead_s": 0.15, "hold_s": 0.4, "release_s": 1.0}  # fmt: skip
    return Bursts(**(fields | changes))


def play(spec, gain_db, *, rate_hz, rng, ppm=0.0, offset=0.37, noise_dbfs=-110.0, bend=0.0, thump=0.0):
    """Capture of the device and of the bypass; gain_db(seconds from the rise, seconds from the fall).

    `bend` adds that much of the square of the output, relative to an output of 0.1; `thump` adds that much to
    each fall, the same every time, dying away within milliseconds.
    """
    segment = spec.lay_out(start=1000, rate_hz=rate_hz)
    step = 1 - 1e-6 * ppm
    position = 500 + offset + step * np.arange(int((segment.span.stop + 2000) / step))
    dry, wet = np.zeros(position.size), np.zeros(position.size)
    for burst in bursts_of(segment.tones):
        for tone in burst.tones:
            at = (position >= tone.start - 1e-9) & (position < tone.stop)
            since_rise = (position[at] - burst.hold.start) / rate_hz
            since_fall = (position[at] - burst.release.start) / rate_hz
            dry[at] = amplitude(tone) * np.cos(carrier_phase(tone, position[at], rate_hz=rate_hz))
            wet[at] = 10 ** (gain_db(since_rise, since_fall) / 20) * dry[at]
            wet[at] += np.where(since_fall < 0, 0.0, thump * np.exp(-np.maximum(since_fall, 0.0) / 0.001))
    wet += bend * wet**2 / 0.1
    sigma = 10 ** (noise_dbfs / 20) / np.sqrt(2)
    noise = rng.normal(0, sigma, (2, position.size))
    cuts = [
        Cut(clean + n, 500 + offset, step, float(rate_hz)) for clean, n in zip((wet, dry), noise, strict=True)
    ]
    return bursts_of(segment.tones), *cuts


def exponential(*, attack_s, release_s, depth_db, hold_s, dead_s=0.0):
    """Gain that falls and recovers exponentially in dB, the recovery after a dead time."""

    def gain_db(since_rise, since_fall):
        down = -depth_db * (1 - np.exp(-np.maximum(since_rise, 0) / attack_s))
        deepest = -depth_db * (1 - np.exp(-hold_s / attack_s))
        up = deepest * np.exp(-np.maximum(since_fall - dead_s, 0) / release_s)
        return np.where(since_fall < 0, down, up)

    return gain_db
