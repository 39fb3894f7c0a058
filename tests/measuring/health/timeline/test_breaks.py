"""Breaks in single tones."""

import numpy as np
import pytest

from charprobe.measuring.health.timeline.breaks import OUTSTANDING, _harmonics, _most_left, find_breaks

RATE_HZ = 48_000
N = 12_000
AT = 6_100


def tone(hz, n=N + 1000, phase=0.4, amplitude=0.1):
    return amplitude * np.cos(2 * np.pi * hz / RATE_HZ * np.arange(n) + phase)


def breaks(samples, hz):
    return find_breaks(samples, frequency_hz=hz, rate_hz=RATE_HZ)


def lost(x, count):
    return np.concatenate([x[:AT], x[AT + count :]])


def repeated(x, count):
    return np.concatenate([x[:AT], x[AT - count :]])


def zeroed(x, count):
    out = x.copy()
    out[AT : AT + count] = 0
    return out


@pytest.mark.parametrize("fault", [lost, repeated, zeroed])
@pytest.mark.parametrize("count", [1, 2, 10, 37, 150, 500])
@pytest.mark.parametrize("hz", [110.0, 997.0, 3989.0])
def test_dropouts_of_every_length_are_found_where_they_are(fault, count, hz, rng):
    samples = fault(tone(hz), count)[:N] + rng.normal(0, 2.2e-6, N)  # noise at -110 dBFS
    found = breaks(samples, hz)
    assert len(found) >= 1
    assert abs(found[0].start - AT) <= 2
    if fault is zeroed and count < 0.02 * RATE_HZ and hz > 500:
        assert abs(found[0].stop - AT - count) <= 3


@pytest.mark.parametrize("size_db", [-50, -80])
def test_a_click_of_one_sample(size_db, rng):
    samples = tone(997.0)[:N] + rng.normal(0, 2.2e-6, N)
    samples[AT] += 0.1 * 10 ** (size_db / 20)
    found = breaks(samples, 997.0)
    # 3e-3 of the tone is more than a lost sample leaves, 1e-4 is less and is let pass
    assert len(found) == (1 if size_db == -50 else 0)


DEVICES = {
    "none": lambda x: x,
    "clipped": lambda x: np.clip(x, -0.03, 0.03),
    "rectified": lambda x: np.maximum(x, 0),
    "cubic": lambda x: x - 20 * x**3,
    "gain falling 20 dB in 20 ms": lambda x: x * 10 ** (-1 + np.exp(-np.arange(x.size) / 960)),
    "gain rising": lambda x: x * 10 ** (np.arange(x.size) / x.size - 1),
    "wavering": lambda x: x * (1 + 0.1 * np.sin(2 * np.pi * 31 / RATE_HZ * np.arange(x.size))),
}


@pytest.mark.parametrize("device", DEVICES)
@pytest.mark.parametrize("hz", [41.0, 110.0, 997.0, 3989.0, 10_007.0])
def test_no_device_is_taken_for_a_fault(device, hz, rng):
    for _ in range(5):
        samples = DEVICES[device](tone(hz, N, phase=rng.uniform(0, 6))) + rng.normal(0, 2.2e-6, N)
        assert breaks(samples, hz) == ()


def test_noise_alone_never_stands_out(rng):
    assert (
        OUTSTANDING > 3
    )  # largest of 48 normal values against its median: 2.4 times, once in 100 000 blocks
    assert breaks(tone(997.0, 2_000_000, amplitude=1e-4) + rng.normal(0, 1e-4, 2_000_000), 997.0) == ()


def test_a_short_stretch_is_not_judged():
    assert breaks(tone(997.0, 200), 997.0) == ()


@pytest.mark.parametrize("size", [900, 2048, 7000])
def test_nothing_left_of_harmonics_exceeds_what_is_said_before_they_are_fitted(rng, size):
    omega = 2 * np.pi * 441.7 / RATE_HZ
    last = np.eye(1, size, size - 1)[0]
    for pulses in (rng.standard_normal(size), np.cos(3 * omega * np.arange(size)), last):
        assert np.max(np.abs(pulses - _harmonics(pulses, omega))) <= _most_left(pulses, omega)
