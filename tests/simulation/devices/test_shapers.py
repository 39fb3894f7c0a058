import numpy as np
import pytest

from charprobe.simulation.devices.shapers import (
    Polynomial,
    Saturation,
    Shaper,
    input_at_thd_dbfs,
    lines,
    thd_db,
)

RATE = 48_000.0
C2, C3, C4, C5 = 0.05, -0.04, 0.03, 0.02
POLYNOMIAL = Polynomial((C2, C3, C4, C5))


def spectrum(samples, frequency_hz, orders):
    """Complex amplitudes re cosines starting at sample 0, from one second holding whole periods."""
    n = np.arange(24_000, 72_000)
    return np.array(
        [2 * np.mean(samples[n] * np.exp(-2j * np.pi * k * frequency_hz / RATE * n)) for k in orders]
    )


def test_polynomial_lines_are_the_multiple_angle_formulas():
    a = 0.5
    expected = [
        C2 * a**2 / 2 + 3 * C4 * a**4 / 8,
        a + 3 * C3 * a**3 / 4 + 5 * C5 * a**5 / 8,
        C2 * a**2 / 2 + C4 * a**4 / 2,
        C3 * a**3 / 4 + 5 * C5 * a**5 / 16,
        C4 * a**4 / 8,
        C5 * a**5 / 16,
    ]
    found = lines(POLYNOMIAL, 20 * np.log10(a))
    np.testing.assert_allclose(found[:6], expected, rtol=0, atol=1e-15)
    np.testing.assert_allclose(np.abs(found[6:]), 0, rtol=0, atol=1e-15)


@pytest.mark.parametrize(
    "curve", [POLYNOMIAL, Saturation(1.2), Saturation(1.0, 0.3)], ids=["poly", "odd", "even"]
)
@pytest.mark.parametrize("frequency_hz", [60.0, 997.0, 3989.0])
def test_oversampled_stage_has_the_closed_lines(curve, frequency_hz, rng):
    stage = Shaper("s", "s", curve, drive_db=3.0, makeup_db=-2.0)
    level_dbfs = -7.0
    x = 10 ** (level_dbfs / 20) * np.cos(2 * np.pi * frequency_hz / RATE * np.arange(96_000))
    y = stage.process(x, rate_hz=RATE, rng=rng).samples
    orders = np.arange(1, min(10, int(20_000 / frequency_hz)) + 1)
    # the half-band filters are 140 dB designs: 1e-7 of full scale leaves room for all of their ripples
    np.testing.assert_allclose(
        spectrum(y, frequency_hz, orders), stage.lines(level_dbfs)[orders], rtol=0, atol=1e-7
    )
    expected_gain = stage.static_gain_db(np.array([level_dbfs]))[0]
    assert 20 * np.log10(abs(stage.lines(level_dbfs)[1])) - level_dbfs == pytest.approx(
        expected_gain, abs=1e-9
    )


def test_nothing_folds_back_from_a_high_tone(rng):
    stage = Shaper("s", "s", POLYNOMIAL)
    frequency_hz = 9000.0  # orders 3, 4, 5 would fold to 21, 12 and 3 kHz
    y = stage.process(
        0.8 * np.cos(2 * np.pi * frequency_hz / RATE * np.arange(96_000)), rate_hz=RATE, rng=rng
    ).samples
    folded = spectrum(y, 3000.0, [1, 4])
    assert np.abs(folded).max() < 1e-7  # -140 dB


def test_symmetric_curve_has_no_even_orders_and_bias_makes_them_lead():
    assert np.abs(lines(Saturation(1.0), -6.0)[2::2]).max() < 1e-15
    biased = np.abs(lines(Saturation(1.0, 0.3), -20.0))
    assert biased[2] > 10 * biased[3]


@pytest.mark.parametrize("thd", [-60.0, -40.0])
def test_input_at_a_distortion_has_that_distortion(thd):
    curve = Saturation(1.0, 0.1)
    assert thd_db(curve, input_at_thd_dbfs(curve, thd)) == pytest.approx(thd, abs=1e-6)


def test_distortion_never_reached_is_an_error():
    with pytest.raises(ValueError, match="does not pass"):
        input_at_thd_dbfs(Saturation(0.01), -40.0)


def test_without_oversampling_products_fold_back_to_where_arithmetic_puts_them(rng):
    stage = Shaper("s", "s", Polynomial((0.0, C3)), oversampled=False)
    x = 0.8 * np.cos(2 * np.pi * 9000.0 / RATE * np.arange(96_000))
    folded = spectrum(stage.process(x, rate_hz=RATE, rng=rng).samples, 3000.0, [7])[0]
    assert abs(folded) == pytest.approx(abs(C3) * 0.8**3 / 4, rel=1e-9)  # order 3 of 9 kHz, 27 kHz, at 21 kHz
