from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import resample_poly

from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.sounds import Sounds
from charprobe.replica.fitting.without_cell import at_once, coloured
from charprobe.replica.parts import Chain

RATE, TONE = 48_000, 6000


def digital(x):
    return np.tanh(1.4 * x) / 1.4


def analogue(x):
    return resample_poly(digital(resample_poly(x, 16, 1)), 1, 16)


def heard(stage, rng, *hz):
    """Tones at seven levels of each pitch, through a stage, with a little noise."""
    levels = 10 ** (np.linspace(-30, -2, 7) / 20)
    turns = [2 * np.pi * one / RATE * np.arange(TONE) for one in hz]
    dry = np.concatenate([level * np.sin(turn) for turn in turns for level in levels])
    wet = stage(dry) + 3e-6 * rng.standard_normal(dry.size)
    size = np.repeat(np.tile(levels, len(hz)), TONE)
    at, weight = np.arange(dry.size), 1 / np.hypot(3e-6, 1e-4 * size)
    parts = tuple((slice(k * TONE, (k + 1) * TONE), hz[k // 7]) for k in range(7 * len(hz)))
    return Heard(dry, wet, at, weight, at // TONE, np.full(at.size, 3e-6), parts)


@pytest.mark.parametrize(("stage", "free"), [(digital, False), (analogue, True)])
def test_a_curve_folds_harmonics_back_where_the_stage_does(stage, free, rng):
    both = heard(stage, rng, 997.0, 7001.0)  # of this one the seventh harmonic would fold to 1 kHz
    middle, other = (heard(stage, rng, 997.0) for _ in range(2))
    colour = coloured(Chain(), ("behind",), Sounds(both, both, both, middle, other), RATE)
    assert colour.amplitude and colour.oversampled is free


@pytest.mark.parametrize("moving", [False, True])
def test_a_gain_that_moves_is_told_from_one_that_levels_have(moving, rng):
    sound = heard(lambda x: x, rng, 997.0)
    size = np.abs(sound.dry).reshape(-1, TONE).max(axis=1)
    gain = np.repeat(1 - 0.1 * size, TONE)  # at once
    if moving:  # none on the whole, but as it goes
        pace = np.arange(TONE) / (0.03 * RATE)
        gain = 1 - np.outer(0.1 * size, np.exp(-pace) - np.mean(np.exp(-pace))).ravel()
    assert at_once(Chain(), replace(sound, wet=gain * sound.dry), RATE) is not moving
