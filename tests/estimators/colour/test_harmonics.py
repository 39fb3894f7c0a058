"""Harmonics of polynomial devices, whose orders have closed forms, on drifting clocks and in noise."""

from dataclasses import replace

import numpy as np
import pytest
from held_truths import expected_inside
from known_harmonics import A3, RATE_HZ, TONES, capture, truths

from charprobe.estimators.colour.harmonics import measure_harmonics
from charprobe.values.cut import Cut


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


def test_wrong_clock_beyond_the_alignment_is_fitted_out():
    straight = capture(ppm=0.0)
    believed = Cut(straight.samples, straight.start, 1 - 3e-6, RATE_HZ)  # the alignment errs by 3 ppm
    cell = measure_harmonics(believed, tones=TONES[:2])[1]
    # what is left is the fade's share of the fit window having moved by a fraction of a sample
    assert cell.level(3).value == pytest.approx(20 * np.log10(truths(-10)[1]), abs=0.01)
    assert cell.phase(3).value == pytest.approx(0, abs=0.1)


def test_stated_uncertainty_equals_the_scatter_and_meets_the_bound(rng, draws=60):
    noise_rms = 1e-4
    cells = [
        measure_harmonics(capture(noise_rms=noise_rms, rng=rng), tones=TONES[1:2])[0] for _ in range(draws)
    ]
    h2, h3 = truths(-10)
    scores = np.array([[(c.ratios[0] - h2) / c.stds[0], (c.ratios[1] - h3) / c.stds[1]] for c in cells])
    z = np.stack([scores.real, scores.imag])
    assert np.sqrt(np.mean(z**2)) == pytest.approx(1, abs=3 / np.sqrt(2 * z.size))  # 3 sigma
    length = round(19_200 * 0.6 - 0.007 * RATE_HZ)
    bound = np.sqrt(2 / length) * noise_rms / (10 ** (-10 / 20) * (1 + 0.75 * A3 * 0.1))
    scatter = np.std(np.real([c.ratios[1] for c in cells]))
    assert scatter / bound == pytest.approx(1, abs=3 / np.sqrt(2 * draws))
    inside = sum(c.thd.low <= 10 * np.log10(h2**2 + h3**2) <= c.thd.high for c in cells)
    assert inside > expected_inside(draws)


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


def test_a_second_harmonic_that_fades_as_a_store_fills_has_room_for_where_it_goes(rng):
    tones = [replace(tone, level_dbfs=-10.0) for tone in TONES]
    last = max(tone.stop for tone in tones)
    at = np.arange(last + 4800)
    fading = 0.05 * (0.7 + 0.3 * np.exp(-at / RATE_HZ / 0.8))
    wave = np.zeros(at.size)
    for tone in tones:
        turn = 2 * np.pi * tone.frequency_hz / RATE_HZ * (at - tone.start)
        played = 10**-0.5 * np.cos(turn) * ((at >= tone.start) & (at < tone.stop))
        wave += played + fading * played**2
    wave += rng.normal(
        0, np.where(at < tones[2].start, 1e-5, 3e-3)
    )  # which hides what the last tone does itself
    for cell in measure_harmonics(Cut(wave, 0.0, 1.0, RATE_HZ), tones=tones):
        level = cell.level(2)
        assert level.low <= 20 * np.log10(0.035 * 10**-0.5 / 2) <= level.high


def test_a_bias_that_creeps_while_the_level_moves_leaves_room_for_where_it_goes():
    tones = [replace(tone, level_dbfs=-10.0) for tone in TONES]
    last = max(tone.stop for tone in tones)
    at = np.arange(last + 4800)
    wave = np.zeros(at.size)
    for tone in tones:
        since_s = np.maximum(at - tone.start, 0) / RATE_HZ
        creeping, sinking = 0.05 * (1 - np.exp(-since_s / 0.3)), 1 - 0.02 * (1 - np.exp(-since_s / 0.3))
        turn = 2 * np.pi * tone.frequency_hz / RATE_HZ * (at - tone.start)
        played = 10**-0.5 * np.cos(turn) * ((at >= tone.start) & (at < tone.stop))
        wave += sinking * played + creeping * played**2
    cells = measure_harmonics(Cut(wave, 0.0, 1.0, RATE_HZ), tones=tones)
    assert any(not cell.settled for cell in cells)  # of a level that moves, orders follow as much as they may
    for cell in cells:
        level = cell.level(2)
        assert level.low <= 20 * np.log10(0.05 / 0.98 * 10**-0.5 / 2) <= level.high
        assert cell.drifts
