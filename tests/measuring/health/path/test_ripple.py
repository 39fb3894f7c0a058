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
    """Slow noise, as of a worn contact: no one frequency."""
    slow = np.random.default_rng(4).normal(0, 0.01, samples.size // 2400 + 2)
    return samples * (1 + np.interp(np.arange(samples.size), 2400 * np.arange(slow.size), slow))


def beside(samples):
    return samples + 1e-3 * np.sin(2 * np.pi * (997.0 + 8.8) * time_s(samples))


@pytest.mark.parametrize("path", [wire, hum, wander, beside])
def test_sounds_beside_the_tones_and_a_gain_that_moves_at_random_are_no_ripple(path, rng):
    take = take_of(STEPS, path, rng=rng, noise_dbfs=-90.0)
    assert check_ripple(take) == check_clock_line(take) == []


@pytest.mark.parametrize(("percent", "swing_hz"), [(0.15, 8.8), (1.0, 3.0), (2.0, 21.4)])
def test_a_swing_slower_than_tones_are_long_is_told_with_its_size(percent, swing_hz, rng):
    def path(samples):
        return samples * (1 + percent / 100 * np.sin(2 * np.pi * swing_hz * time_s(samples) + 0.3))

    (item,) = check_ripple(take_of(STEPS, path, rng=rng))
    assert item.code == "level-drift" and f"at {swing_hz:.1f} Hz" in item.message
    # a tone of 0.2 s hides part of a swing that lasts longer, and blocks of 16 ms of a quick one
    told = float(item.message.split(" swings by ")[1].split(" %")[0])
    assert 0.5 * percent < told < 1.1 * percent


def test_harmonics_that_a_digital_stage_folds_beside_a_tone_are_no_clock_that_swings(rng):
    steps = (LevelSteps("steps", 5003.0, -40.0, -5.0, 5.0, 0.2, True, gap_s=0.1),)
    take = take_of(steps, lambda samples: np.where(samples < 0, 0.85 * samples, samples), rng=rng)
    assert check_clock_line(take) == []
