import time

import numpy as np
import pytest

from charprobe.simulation.rig.resample import read_between

N = 48_000
EDGE = 100  # the kernel reaches 48 samples


@pytest.mark.parametrize("frequency", [0.001, 0.0208, 0.25, 20 / 48, 20 / 44.1])
@pytest.mark.parametrize(("start", "step"), [(0.377, 1.0), (-3.2, 1 - 50e-6), (0.5, 1 + 300e-6)])
def test_tone_is_read_between_its_samples(frequency, start, step):
    phase = 2 * np.pi * frequency
    count = int((N - 2) / step)
    out = read_between(np.cos(phase * np.arange(N) + 0.3), start=start, step=step, count=count)
    position = start + step * np.arange(count)
    inside = (position > EDGE) & (position < N - EDGE)
    error = out[inside] - np.cos(phase * position[inside] + 0.3)
    assert 20 * np.log10(np.abs(error).max()) < -120


def test_whole_positions_return_the_samples(rng):
    samples = rng.normal(size=1000)
    np.testing.assert_allclose(
        read_between(samples, start=-3.0, step=1.0, count=1003)[3:], samples, rtol=0, atol=1e-14
    )


def test_outside_is_silence():
    out = read_between(np.ones(10), start=-500.0, step=1.0, count=400)
    assert not out.any()


def test_150_s_are_read_within_seconds(rng):
    samples = rng.normal(size=150 * 48_000)
    read_between(samples[:1000], start=0.1, step=1 - 1e-5, count=900)  # compiled before the clock runs
    began = time.perf_counter()
    read_between(samples, start=0.1, step=1 - 1e-5, count=samples.size)
    assert time.perf_counter() - began < 10  # 0.8 s on a quiet machine; room for a busy one
