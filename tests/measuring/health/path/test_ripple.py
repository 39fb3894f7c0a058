from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from taken import RATE_HZ, take_of, wire

from charprobe.measuring.health.path.ripple import check_clock_line, check_ripple
from charprobe.stimulus.kinds.level_steps import LevelSteps

STEPS = (LevelSteps("steps", 997.0, -40.0, -5.0, 5.0, 0.2, True, gap_s=0.1),)


def time_s(samples):
    return np.arange(samples.size) / RATE_HZ


@pytest.mark.parametrize(("percent", "ripple_hz"), [(0.15, 100.0), (2.0, 120.0)])
def test_a_gain_that_swings_with_the_mains_is_told_with_its_size(percent, ripple_hz, rng):
    def path(samples):
        return samples * (1 + percent / 100 * np.sin(2 * np.pi * ripple_hz * time_s(samples) + 0.3))

    (item,) = check_ripple(take_of(STEPS, path, rng=rng))
    assert item.code == "hum" and f"{percent:.2f} % at {ripple_hz:.0f} Hz" in item.message


@pytest.mark.parametrize(("nanoseconds", "swing_hz", "step_s"), [(12.0, 250.0, 0.2), (90.0, 700.0, 0.5)])
def test_a_clock_that_is_pulled_evenly_is_told_with_its_size(nanoseconds, swing_hz, step_s, rng):
    def path(samples):
        place = np.arange(samples.size) + RATE_HZ * 1e-9 * nanoseconds * np.sin(
            2 * np.pi * swing_hz * time_s(samples)
        )
        return CubicSpline(np.arange(samples.size), samples)(place)

    take = take_of((replace(STEPS[0], step_s=step_s),), path, rng=rng)
    (item,) = check_clock_line(take)
    assert item.code == "clock-drift" and f"by {nanoseconds:.0f} ns at {swing_hz:.0f} Hz" in item.message
    assert check_ripple(take) == []


def hum(samples):
    return samples + 1e-3 * np.sin(2 * np.pi * 100 * time_s(samples))


def wander(samples):
    return samples * (1 + 0.01 * np.sin(2 * np.pi * 3 * time_s(samples)))


@pytest.mark.parametrize("path", [wire, hum, wander])
def test_hum_beside_the_sound_and_a_slow_gain_are_no_ripple(path, rng):
    take = take_of(STEPS, path, rng=rng, noise_dbfs=-90.0)
    assert check_ripple(take) == check_clock_line(take) == []
