"""Devices whose gain is a formula of time, drawn at random, and their bursts through the rig."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.timing.trace.phase_set import bursts_of
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.values.cut import Cut

START = 9_600


@dataclass(frozen=True)
class Device:
    """A gain in closed form: falls and recovers exponentially in dB, the recovery in one or two stages after a hold.

    It may fall `ahead_s` before the edge.
    """

    attack_s: float
    release_s: float
    slow_s: float
    slow_share: float
    dead_s: float
    depth_db: float
    hold_s: float
    ahead_s: float

    def left(self, t):
        u = np.maximum(t - self.dead_s, 0)
        return (1 - self.slow_share) * np.exp(-u / self.release_s) + self.slow_share * np.exp(
            -u / self.slow_s
        )

    def gain_db(self, since_rise, since_fall):
        down = -self.depth_db * (1 - np.exp(-np.maximum(since_rise + self.ahead_s, 0) / self.attack_s))
        return np.where(since_fall < 0, down, -self.reached_db * self.left(since_fall))

    @property
    def reached_db(self) -> float:
        return self.depth_db * (1 - math.exp(-(self.hold_s + self.ahead_s) / self.attack_s))

    def release_time(self, left: float) -> float:
        """Time after the fall at which `left` of the reduction is still there, by bisection."""
        low, high = 0.0, 60.0
        for _ in range(200):
            middle = (low + high) / 2
            low, high = (middle, high) if float(self.left(np.array(middle))) > left else (low, middle)
        return high


def draw(rng, *, two_stages: bool) -> tuple[Device, Bursts, int]:
    """Draw a device, the bursts that time it and a sampling rate."""
    attack = 10 ** rng.uniform(math.log10(5e-5), math.log10(5e-2))
    rate = int(rng.choice([44_100, 48_000, 96_000, 192_000]))
    slowest = 0.5 if rate > 96_000 else 3.0
    release = 10 ** rng.uniform(math.log10(0.02), math.log10(0.15 if two_stages else slowest))
    slow = release * rng.uniform(4, 12) if two_stages else release
    share = rng.uniform(0.2, 0.7) if two_stages else 0.0
    hold = max(0.05, 9 * attack)
    dead = rng.uniform(0.01, 0.05) if rng.random() < 0.2 else 0.0
    ahead = rng.uniform(5e-4, 5e-3) if rng.random() < 0.2 else 0.0
    device = Device(attack, release, slow, share, dead, rng.uniform(3, 25), hold, ahead)
    phases = 4 if slow > 0.4 else int(rng.choice([4, 5, 8]))
    spec = Bursts(
        name="b", carrier_hz=float(rng.choice([997.0, 3989.0, 7993.0])), phases=phases, low_dbfs=-40.0,
        high_dbfs=float(rng.uniform(-16, -3)), lead_s=0.1, hold_s=hold, release_s=max(0.15, 6 * slow + dead),
    )  # fmt: skip
    return device, spec, rate


def captures(device: Device, spec: Bursts, rate_hz: int, rng, *, noise_dbfs: float):
    """Wet and bypass captures through the rig, placed with the error that placing has."""
    segment = spec.lay_out(start=START, rate_hz=rate_hz)
    sound = np.concatenate([np.zeros(START), segment.render(rate_hz=rate_hz), np.zeros(4_800)])
    bursts = bursts_of(segment.tones)
    gain = np.zeros(sound.size)
    for burst in bursts:
        n = np.arange(burst.lead.start, burst.release.stop)
        gain[n] = device.gain_db((n - burst.hold.start) / rate_hz, (n - burst.release.start) / rate_hz)
    ppm = rng.uniform(-50, 50)
    return bursts, *(
        recorded(signal, rate_hz, ppm, rng, noise_dbfs=noise_dbfs)
        for signal in (sound * 10 ** (gain / 20), sound)
    )


def recorded(signal, rate_hz: int, ppm: float, rng, *, noise_dbfs: float, late: int = 0) -> Cut:
    rig = Rig(
        delay_samples=rng.uniform(10, 60),
        drift_ppm=ppm,
        noise_dbfs=noise_dbfs,
        bits=24,
        ac_corner_hz=rng.uniform(1, 10),
    )
    samples = rig.record(signal, rate_hz=rate_hz, rng=rng)[:, 0]
    start = rig.start(rate_hz=rate_hz) - late
    # 0.01 sample at either end, where the chirps are, one sigma each: half of what placing promises
    first, last = rng.normal(0, 0.01, 2)
    return Cut(samples, start + first, rig.step + (last - first) / samples.size, float(rate_hz))
