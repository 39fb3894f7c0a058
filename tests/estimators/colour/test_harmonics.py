"""Harmonics of polynomial devices, whose orders have closed forms, on drifting clocks and in noise."""

import numpy as np
import pytest

from charprobe.estimators.colour.harmonics import measure_harmonics
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.cut import Cut
from charprobe.values.quantity import Quantity, Unmeasured

RATE_HZ = 48_000.0
A2, A3 = -0.02, 0.05
TONES = tuple(
    Tone(4800 + 20_000 * i, 19_200, f, level, 0.0, 240, i)
    for i, (f, level) in enumerate([(110.0, -10.0), (997.0, -10.0), (997.0, -30.0), (5003.0, -10.0)])
)


def played(position):
    out = np.zeros(position.size)
    for tone in TONES:
        edge = np.clip(np.minimum(position - tone.start, tone.stop - position) / 240, 0, 1)
        envelope = 10 ** (tone.level_dbfs / 20) * (0.5 - 0.5 * np.cos(np.pi * edge))
        out += envelope * np.cos(2 * np.pi * tone.frequency_hz * (position - tone.start) / RATE_HZ)
    return out


def capture(ppm=0.0, noise_rms=0.0, rng=None, device=lambda x: x + A2 * x**2 + A3 * x**3):
    step = 1 - 1e-6 * ppm
    position = 0.41 + step * np.arange(90_000)
    samples = device(played(position))
    if rng is not None:
        samples = samples + rng.normal(0, noise_rms, samples.size)
    return Cut(samples, 0.41, step, RATE_HZ)


def truths(level_dbfs):
    """H2 and H3 over the fundamental, signed: multiple-angle formulas."""
    a = 10 ** (level_dbfs / 20)
    fundamental = a + 0.75 * A3 * a**3
    return A2 * a**2 / 2 / fundamental, A3 * a**3 / 4 / fundamental


@pytest.mark.parametrize("ppm", [0.0, 48.0])
def test_levels_and_phases_equal_the_closed_form(ppm):
    cells = measure_harmonics(capture(ppm), tones=TONES)
    assert [cell.tone for cell in cells] == list(TONES)
    for cell in cells:
        h2, h3 = truths(cell.tone.level_dbfs)
        # noiseless; above 24 kHz / 3 the cubic's third order would fold, below it only rounding remains
        assert cell.ratios[0] == pytest.approx(h2, abs=1e-10)
        assert cell.ratios[1] == pytest.approx(h3, abs=1e-10)
    middle = cells[1]
    # A2 < 0 turns the second order round: 180 degrees in the cosine convention, A3 > 0 leaves the third at 0
    assert abs(middle.phase(2).value) == pytest.approx(180, abs=1e-4)
    assert middle.phase(3).value == pytest.approx(0, abs=1e-4)
    assert middle.level(2).value == pytest.approx(20 * np.log10(abs(truths(-10)[0])), abs=1e-5)


def test_thd_is_the_root_sum_of_squares():
    cell = measure_harmonics(capture(), tones=TONES)[1]
    assert isinstance(cell.thd, Quantity)
    assert cell.thd.value == pytest.approx(10 * np.log10(sum(h**2 for h in truths(-10))), abs=1e-4)


def test_wrong_clock_beyond_the_alignment_is_fitted_out():
    straight = capture(ppm=0.0)
    believed = Cut(straight.samples, straight.start, 1 - 3e-6, RATE_HZ)  # the alignment errs by 3 ppm
    cell = measure_harmonics(believed, tones=TONES[:2])[1]
    # what is left is the fade's share of the fit window having moved by a fraction of a sample
    assert cell.level(3).value == pytest.approx(20 * np.log10(truths(-10)[1]), abs=0.01)
    assert cell.phase(3).value == pytest.approx(0, abs=0.1)


def test_hidden_orders_are_bounds_and_not_values(rng):
    cells = measure_harmonics(capture(noise_rms=1e-4, rng=rng, device=lambda x: x), tones=TONES)
    for cell in cells:
        assert isinstance(cell.thd, Unmeasured) and cell.thd.at_most is not None
        for order in range(2, cell.orders + 1):
            level = cell.level(order)
            assert isinstance(level, Unmeasured)
            assert level.at_most >= cell.limits_dbc[order - 2] - 1e-9
            assert isinstance(cell.phase(order), Unmeasured)


def test_orders_above_the_band_say_so():
    cell = measure_harmonics(capture(), tones=TONES)[3]
    assert cell.orders == 4  # 4 x 5003 Hz < 22.8 kHz < 5 x 5003 Hz
    reading = cell.level(7)
    assert isinstance(reading, Unmeasured) and "band" in reading.reason and reading.at_most is None


def test_stated_uncertainty_equals_the_scatter_and_meets_the_bound(rng):
    noise_rms, draws = 1e-4, 200
    cells = [
        measure_harmonics(capture(noise_rms=noise_rms, rng=rng), tones=TONES[1:2])[0] for _ in range(draws)
    ]
    h2, h3 = truths(-10)
    scores = np.array([[(c.ratios[0] - h2) / c.stds[0], (c.ratios[1] - h3) / c.stds[1]] for c in cells])
    z = np.stack([scores.real, scores.imag])
    assert np.sqrt(np.mean(z**2)) == pytest.approx(1, abs=0.08)  # 800 values: 3 / sqrt(1600)
    length = round(19_200 * 0.6 - 0.007 * RATE_HZ)
    bound = np.sqrt(2 / length) * noise_rms / (10 ** (-10 / 20) * (1 + 0.75 * A3 * 0.1))
    scatter = np.std(np.real([c.ratios[1] for c in cells]))
    assert scatter / bound == pytest.approx(1, abs=0.15)  # 200 draws: 3 / sqrt(400)
    inside = sum(c.thd.low <= 10 * np.log10(h2**2 + h3**2) <= c.thd.high for c in cells)
    assert inside >= 180  # 190 expected; fewer than 180 has probability 1e-3


def test_tones_cut_off_are_left_out():
    whole = capture()
    part = Cut(whole.samples[:50_000], whole.start, whole.step, RATE_HZ)
    assert [cell.tone for cell in measure_harmonics(part, tones=TONES)] == list(TONES[:2])
    assert measure_harmonics(part.between(0, 100), tones=TONES) == ()


def test_a_tone_of_which_no_bit_came_back_has_no_harmonics():
    cells = measure_harmonics(capture(device=lambda x: np.round(x * 8) / 8), tones=TONES)
    assert [cell.tone.level_dbfs for cell in cells] == [
        -10.0,
        -10.0,
        -10.0,
    ]  # a word of 4 bits loses -30 dBFS
    assert all(np.isfinite(cell.ratios).all() for cell in cells)
