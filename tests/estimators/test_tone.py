import numpy as np
import pytest

from charprobe.estimators.tone import common_offset, fit_tone, order_amplitudes, orders_in_band
from charprobe.values.cut import Cut
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.quantity import Quantity, Unmeasured

RATE = 48_000.0


def tone(position, *, frequency_hz, amplitudes, origin, rate_hz, dc=0.0):
    turns = frequency_hz * (position - origin) / rate_hz
    orders = enumerate(amplitudes, start=1)
    return dc + sum((a * np.exp(2j * np.pi * n * turns)).real for n, a in orders)


@pytest.mark.parametrize(
    ("rate_hz", "frequency_hz", "count", "step"),
    [
        (48e3, 997.0, 24_000, 1 + 2e-5),
        (44.1e3, 19_999.0, 5_000, 1 - 1e-4),
        (48e3, 24.0, 5_000, 1.0),  # two and a half periods
        (192e3, 5_003.0, 50_000, 1.0),
        (48e3, 8_000.0, 4_800, 1.0),  # the rate is a multiple: orders fall on each other's images
    ],
)
def test_all_orders_are_recovered_to_rounding(rng, rate_hz, frequency_hz, count, step):
    orders = orders_in_band(frequency_hz, rate_hz=rate_hz, orders=10)
    truth = 0.5 * 10.0 ** -np.arange(orders) * np.exp(1j * rng.uniform(-np.pi, np.pi, orders))
    start = 2_000_000.3
    cut = Cut(np.empty(count), start, step, rate_hz)
    wave = tone(
        cut.position(),
        frequency_hz=frequency_hz,
        amplitudes=truth,
        origin=start - 99.75,
        rate_hz=rate_hz,
        dc=0.01,
    )
    cut = Cut(wave, start, step, rate_hz)
    given = fit_tone(cut, frequency_hz=frequency_hz, phase_origin=start - 99.75, orders=10, refine=False)
    free = fit_tone(
        cut, frequency_hz=frequency_hz * (1 + 2e-6), phase_origin=start - 99.75, orders=10, refine=True
    )
    for fit in (given, free):  # rounding of the wave's own phase: 2e6 samples * 2e-16 rad * order
        np.testing.assert_allclose(fit.amplitudes, truth, rtol=0, atol=1e-9)
        assert fit.dc == pytest.approx(0.01, abs=1e-10)
    assert free.frequency_hz == pytest.approx(frequency_hz, rel=1e-11)


def test_stated_uncertainties_equal_the_real_scatter_and_the_bound(rng):
    count, amplitude, sigma, draws = 4_800, 0.1, 1e-3, 400
    wave = tone(
        np.arange(count), frequency_hz=997, amplitudes=[amplitude * np.exp(1j)], origin=0, rate_hz=RATE
    )
    scores = []
    for _ in range(draws):
        cut = Cut(wave + rng.normal(0, sigma, count), 0.0, 1.0, RATE)
        fit = fit_tone(cut, frequency_hz=997 * (1 + 1e-6), phase_origin=0.0, orders=5, refine=True)
        level = fit.level(1)
        bound_hz = sigma * np.sqrt(24 / count**3) / amplitude * RATE / (2 * np.pi)  # Cramer-Rao, too
        bound_db = 20 / np.log(10) * sigma * np.sqrt(2 / count) / amplitude
        error_db = level.value + 20
        scores.append(
            [
                error_db / level.std,
                error_db / bound_db,
                (fit.frequency_hz - 997) / bound_hz,
                fit.amplitudes[2].real / fit.stds[2],
            ]
        )
    spread = np.std(scores, axis=0)
    # 3 sigma of a spread from 400 draws is 0.106; reading the noise from 16 bins adds about 2 %
    np.testing.assert_allclose(spread, 1, atol=0.13)
    assert spread[1] <= 1.1  # efficiency against the Cramer-Rao bound


def test_hum_beside_a_harmonic_widens_only_its_own_interval():
    position = np.arange(24_000)
    hum = 1e-4 * np.cos(2 * np.pi * 1_985.0 * position / RATE)  # 4.5 bins below the second order
    wave = tone(position, frequency_hz=997, amplitudes=[0.1, 1e-4], origin=0, rate_hz=RATE) + hum
    fit = fit_tone(Cut(wave, 0.0, 1.0, RATE), frequency_hz=997, phase_origin=0.0, orders=3, refine=False)
    error = np.abs(fit.amplitudes - [0.1, 1e-4, 0])
    assert error[1] > 1e-6  # the line does leak
    assert np.all(error < 3 * fit.stds)  # and is covered
    assert fit.stds[1] > 20 * fit.stds[0]


def test_tones_of_many_levels_share_one_frequency_offset(rng):
    cuts, origins = [], []
    for start in range(0, 480_000, 48_000):
        position = start + np.arange(9_600)
        wave = tone(
            position,
            frequency_hz=997 * (1 + 3e-7),
            amplitudes=[rng.uniform(0.01, 0.5)],
            origin=start,
            rate_hz=RATE,
        )
        cuts.append(Cut(wave + rng.normal(0, 1e-5, 9_600), float(start), 1.0, RATE))
        origins.append(float(start))
    offset = common_offset(cuts, frequencies_hz=[997.0] * 10, phase_origins=origins, orders=1)
    # Cramer-Rao of the frequency of the quietest tone alone; ten together do better
    bound_hz = 1e-5 * np.sqrt(24 / 9_600**3) / 0.01 * RATE / (2 * np.pi)
    assert abs(offset - 3e-7) < 3 * bound_hz / 997


def test_rows_are_fitted_each_by_itself():
    position = np.arange(4_800)
    wave = tone(position, frequency_hz=997, amplitudes=[0.25, 0.02, 0.01], origin=0, rate_hz=RATE)
    rows = (wave * np.repeat([1.0, 0.5, 0.1, 2.0], 1_200)).reshape(4, 1_200)
    found = order_amplitudes(rows, cycles_per_sample=997 / RATE, orders=3)
    np.testing.assert_allclose(
        found, np.outer([1.0, 0.5, 0.1, 2.0], [0.25, 0.02, 0.01]), rtol=1e-11
    )  # rounding


def test_an_order_below_the_noise_is_a_bound_not_a_number(rng):
    wave = tone(np.arange(9_600), frequency_hz=997, amplitudes=[0.1], origin=0, rate_hz=RATE)
    cut = Cut(wave + rng.normal(0, 1e-4, 9_600), 0.0, 1.0, RATE)
    fit = fit_tone(cut, frequency_hz=997, phase_origin=0.0, orders=3, refine=False)
    assert isinstance(fit.level(1), Quantity)
    hidden = fit.level(3)
    assert isinstance(hidden, Unmeasured)
    assert (
        -120 < hidden.at_most < -95
    )  # the noise per order is -117 dBFS per part; the bound adds three sigma


def test_too_short_a_stretch_is_refused():
    with pytest.raises(SegmentTooShortError, match="raise its duration"):
        fit_tone(Cut(np.ones(90), 0.0, 1.0, RATE), frequency_hz=997, phase_origin=0.0, orders=1, refine=False)


def test_a_frequency_outside_the_band_is_the_callers_mistake():
    with pytest.raises(ValueError, match="no order"):
        fit_tone(
            Cut(np.ones(9_000), 0.0, 1.0, RATE), frequency_hz=23e3, phase_origin=0.0, orders=1, refine=False
        )


def test_an_offset_on_the_move_leaves_level_and_interval_of_a_quiet_tone_alone(rng):
    count, level, offset, swing_hz = 6_000, 1e-3, 0.002, 0.9
    position = np.arange(count)
    wave = tone(position, frequency_hz=997, amplitudes=[level], origin=0, rate_hz=RATE)
    wave += rng.normal(0, 1e-6, count)
    moved = wave + offset * np.sin(2 * np.pi * swing_hz * position / RATE)
    still, moving = (
        fit_tone(Cut(each, 0.0, 1.0, RATE), frequency_hz=997, phase_origin=0.0, orders=3, refine=False)
        for each in (wave, moved)
    )
    # what a line leaves is a bend b t² / 2 about its mean, b T² / 3 at both ends: to a tone 2 / (w T) of that
    half_s, turns = count / RATE / 2, 2 * np.pi * 997
    left = offset * (2 * np.pi * swing_hz) ** 2 * half_s**2 / 3 * 2 / (turns * half_s)
    assert (
        abs(moving.amplitudes[0] - still.amplitudes[0])
        < left
        < 0.15 * 2 * offset * 2 * np.pi * swing_hz / turns
    )
    assert moving.stds[0] < still.stds[0] + left  # bins beside the tone hold as much of the bend
