"""Dips with sudden edges in sweeps and tones, and what stages do that is none."""

import numpy as np
import pytest
from scipy import signal
from taken import RATE_HZ, take_of, wire

from charprobe.measuring.health.timeline.dips import check_dips
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.sweep import Sweep

SEGMENTS = (
    Sweep("sweep", 10.0, 22_000.0, 2.0, -40.0, gap_s=0.3),
    LevelSteps("steps", 997.0, -40.0, -4.0, 18.0, 0.2, False, gap_s=0.3),
    Bursts("bursts", 3989.0, 2, -40.0, -6.0, 0.1, 0.15, 0.3),
)


def told(device, rng):
    return check_dips(take_of(SEGMENTS, device, rng=rng))


def dipped(size_db, *starts_s, long_s=0.06, edge_s=0.001):
    """Gain that falls for a while at some times of the stimulus."""

    def device(samples):
        at = np.arange(samples.size) / RATE_HZ
        inside = sum(
            np.clip((long_s / 2 - np.abs(at - start - long_s / 2)) / edge_s + 0.5, 0, 1) for start in starts_s
        )
        return samples * 10 ** (size_db * inside / 20)

    return device


def start_of(segment):
    place = take_of(SEGMENTS, wire, rng=np.random.default_rng(1)).stimulus.segments[segment]
    return (place.tones[-1] if place.tones else place.span).start / RATE_HZ


@pytest.mark.parametrize("size_db", [-0.15, -1.0, -10.0, 0.5])
@pytest.mark.parametrize(("segment", "after_s"), [(0, 0.85), (0, 1.4), (1, 0.06)])
def test_a_dip_is_told_with_its_size_and_time(size_db, segment, after_s, rng):
    start_s = start_of(segment) + after_s
    (item,) = told(dipped(size_db, start_s), rng)
    assert (item.code, item.severity) == ("gain-step", "warn")
    found_db = float(item.message.split(": ")[1].split(" dB")[0].replace("−", "-"))
    assert found_db == pytest.approx(size_db, rel=0.1, abs=0.01)  # two digits are printed
    assert item.start_s == pytest.approx(0.1 + 321.6 / RATE_HZ + start_s, abs=0.01)


def test_two_moments_each_of_which_passes_by_itself_are_no_dip(rng):
    start_s = start_of(0) + 1.0

    def device(samples):  # falls at once and comes back, later falls slowly and comes back at once
        after = np.arange(samples.size) / RATE_HZ - start_s
        first = np.where(after > 0, np.exp(-np.abs(after) / 0.03), 0.0)
        second = np.where(after < 0.25, np.exp(-np.abs(after - 0.25) / 0.03), 0.0)
        fallen = first + second
        return samples * 10 ** (-0.4 * fallen / 20)

    assert told(device, rng) == []


def notch(samples):
    return signal.lfilter(*signal.iirnotch(1200.0, 6.0, fs=RATE_HZ), samples)


def resonance(samples):
    return samples + signal.lfilter(*signal.iirpeak(900.0, 30.0, fs=RATE_HZ), samples)


def brick_wall(samples):
    return signal.sosfilt(signal.ellip(9, 0.1, 90, 9000.0, fs=RATE_HZ, output="sos"), samples)


def stage(name):
    return lambda samples: make_stage(name).process(samples, rate_hz=RATE_HZ, rng=None).samples


DEVICES = {
    "wire": wire,
    "notch": notch,
    "resonance": resonance,
    "brick wall": brick_wall,
    "fast limiter": stage("smooth-gain-hard"),
    "gate": stage("noise-gate"),
    "rms": stage("feedforward-rms-hard"),
}


@pytest.mark.parametrize("device", DEVICES)
def test_filters_and_gain_cells_make_no_dips(device, rng):
    assert told(DEVICES[device], rng) == []
