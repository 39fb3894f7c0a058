"""What is left when a tone is taken out, and lines that are no harmonics."""

import numpy as np
import pytest

from charprobe.estimators.tone import fit_known_tone
from charprobe.estimators.tone_residual import beside_tone, subtract_tone
from charprobe.values.cut import Cut

RATE_HZ = 48_000.0
STEP = 1 - 27e-6


def cut_of(rng, *, lines=()):
    position = 100.3 + STEP * np.arange(14_000)
    t = position / RATE_HZ
    x = 0.3 + 0.5 * np.cos(2 * np.pi * 997 * t + 1) + 0.01 * np.cos(2 * np.pi * 3 * 997 * t)
    for frequency_hz, level_dbc in lines:
        x = x + 0.5 * 10 ** (level_dbc / 20) * np.cos(2 * np.pi * frequency_hz * t)
    return Cut(x + rng.normal(0, 1e-5, x.size), 100.3, STEP, RATE_HZ)


def fitted(cut):
    return fit_known_tone(cut, frequency_hz=997.0, phase_origin=5000.0, orders=10)


def test_residual_of_a_tone_in_noise_is_the_noise(rng):
    cut = cut_of(rng)
    left = subtract_tone(cut, fitted(cut).fit).samples
    # 21 unknowns of 14 000 samples are lost; 3 / sqrt(2 * 14 000) = 1.8 %
    assert np.std(left) == pytest.approx(1e-5, rel=0.03)


def test_stray_lines_are_found_with_frequency_and_level(rng):
    cut = cut_of(rng, lines=((3210.0, -85.0), (12_345.0, -75.0)))
    found = beside_tone(cut, fitted(cut)).lines
    # noise of 1e-5 rms in 14 000 samples leaves 0.02 dB and 0.01 Hz of a line of -91 dBFS
    assert [line.frequency_hz for line in found] == pytest.approx([12_345, 3210], abs=0.03)
    assert [line.level_dbc for line in found] == pytest.approx([-75, -85], abs=0.06)


def test_stated_uncertainty_of_a_line_equals_the_real_scatter(rng):
    off = []
    for _ in range(120):
        frequency_hz, level_dbc = rng.uniform(3100, 3850), rng.uniform(-90, -60)
        cut = cut_of(rng, lines=((frequency_hz, level_dbc),))
        (line,) = beside_tone(cut, fitted(cut)).lines
        off.append(
            (
                (line.frequency_hz - frequency_hz) / line.frequency_std_hz,
                (line.level_dbc - level_dbc) / line.level_std_db,
            )
        )
    # 3 sigma of a scatter from 120 draws: 3 / sqrt(240); the noise beside a line is known to a quarter
    np.testing.assert_allclose(np.std(off, axis=0), 1, atol=0.3)
    assert np.all(np.abs(np.mean(off, axis=0)) < 3 / np.sqrt(120))


def test_a_line_that_swells_is_told_with_more_doubt(rng):
    steady = cut_of(rng, lines=((3210.0, -75.0),))
    swelling = Cut(steady.samples * np.linspace(0.2, 1.8, 14_000), 100.3, STEP, RATE_HZ)
    level = [beside_tone(cut, fitted(cut)).lines[0].level_std_db for cut in (steady, swelling)]
    assert level[1] > 2 * level[0]


def test_noise_and_harmonics_give_no_stray_lines(rng):
    for _ in range(5):
        cut = cut_of(rng)
        assert beside_tone(cut, fitted(cut)).lines == ()


def test_noise_beside_a_tone_is_the_noise_alone(rng):
    found = []
    for _ in range(20):
        cut = cut_of(rng, lines=((3210.0, -75.0), (12_345.0, -75.0), (311.0, -80.0)))
        noise = beside_tone(cut, fitted(cut)).noise
        found.append((noise.value, noise.low, noise.high))
    # white noise of 1e-5 rms, of which 20 Hz to 20 kHz counts
    truth = 10 * np.log10(2 * 1e-10 * 19_980 / 24_000)
    values, lows, highs = np.transpose(found)
    assert np.mean(values) == pytest.approx(truth, abs=0.05)
    assert np.sum((lows <= truth) & (truth <= highs)) >= 17
