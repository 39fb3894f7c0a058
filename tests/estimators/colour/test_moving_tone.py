"""Harmonics beside what moves: ripple of a gain that has not quite settled, an offset that filters leave."""

import numpy as np
import pytest

from charprobe.estimators.colour.harmonics import measure_harmonics
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.cut import Cut
from charprobe.values.quantity import Quantity

RATE_HZ, FREQUENCY_HZ = 48_000.0, 100.0
TONE = Tone(0, 9600, FREQUENCY_HZ, -10.0, 0.0, 240, 0)


def tone(*, unfinished, tau_s, noise, offset=0.0):
    """A gain whose ripple at twice the tone is one part settled and one part its speed, over the frequency."""
    seconds = np.arange(TONE.length + 4800) / RATE_HZ
    turn = 2 * np.pi * FREQUENCY_HZ * seconds
    away = unfinished * np.exp(-seconds / tau_s)
    ripple = 1e-3 + away / tau_s / (2 * np.pi * FREQUENCY_HZ)
    gain = 1 + away + ripple * np.cos(2 * turn)
    wave = 10 ** (TONE.level_dbfs / 20) * gain * np.cos(turn)
    wave += offset * np.exp(-seconds / 0.03)
    return Cut(wave + np.random.default_rng(4).normal(0.0, noise, seconds.size), 0.0, 1.0, RATE_HZ)


@pytest.mark.parametrize("unfinished", [0.02, -0.005])
def test_a_harmonic_is_read_as_it_is_once_the_gain_has_settled(unfinished):
    (cell,) = measure_harmonics(tone(unfinished=unfinished, tau_s=0.03, noise=1e-6), tones=[TONE])
    # cos(2 w t) cos(w t): half of the ripple is the third order, the other half adds to the first
    truth = 20 * np.log10(0.5e-3 / (1 + 0.5e-3))
    level = cell.level(3)
    assert isinstance(level, Quantity)
    assert level.low <= truth <= level.high
    assert level.value == pytest.approx(truth, abs=0.1)
    assert level.high - level.low < 0.5


def test_what_a_long_way_to_go_leaves_open_is_doubt():
    steady, moving = (
        measure_harmonics(tone(unfinished=far, tau_s=1.0, noise=1e-6), tones=[TONE])[0] for far in (0.0, 0.02)
    )
    assert moving.stds[1] > 3 * steady.stds[1]
    assert abs(abs(moving.ratios[1]) - 0.5e-3) < 4 * moving.stds[1]


def test_an_offset_that_a_filter_leaves_behind_is_neither_harmonic_nor_noise():
    plain, beside = (
        measure_harmonics(tone(unfinished=0.01, tau_s=0.03, noise=1e-6, offset=offset), tones=[TONE])[0]
        for offset in (0.0, 0.01)
    )
    truth = 20 * np.log10(0.5e-3 / (1 + 0.5e-3))
    level = beside.level(3)
    assert level.low <= truth <= level.high
    assert level.high - level.low < 1.5 * (plain.level(3).high - plain.level(3).low)
    assert not beside.detected(2)


def test_orders_that_something_else_than_the_speed_moves_are_left_as_they_are():
    cut = tone(unfinished=0.02, tau_s=0.03, noise=1e-6)
    seconds = np.arange(cut.samples.size) / RATE_HZ
    # a bias that creeps moves the second order a hundred times as far as the speed of the gain can
    bias = 0.05 * np.exp(-seconds / 0.05) * np.cos(4 * np.pi * FREQUENCY_HZ * seconds)
    (cell,) = measure_harmonics(Cut(cut.samples + bias, 0.0, 1.0, RATE_HZ), tones=[TONE])
    assert cell.level(2).high - cell.level(2).low > 3
