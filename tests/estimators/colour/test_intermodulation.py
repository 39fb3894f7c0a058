"""Two tones through a memoryless cubic: products by the multiple-angle formulas."""

import numpy as np
import pytest

from charprobe.estimators.colour.intermodulation import measure_pairs
from charprobe.stimulus.kinds.two_tone import TwoTone
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out
from charprobe.values.cut import Cut
from charprobe.values.quantity import Unmeasured

RATE_HZ = 48_000
LOW_HIGH = TwoTone("pair", 61.0, 7001.0, 4.0, (-6.0,), 0.5)
CLOSE = TwoTone("pair", 9001.0, 10_007.0, 1.0, (-6.0,), 0.5)
A2, A3 = 0.01, 0.02
PEAK = 10 ** (-6 / 20)


def measured(spec, rng, *, step=1.0, device=lambda x: x + A2 * x**2 + A3 * x**3, noise=1e-6):
    segment = lay_out(Recipe("x", "x", (spec,)), rate_hz=RATE_HZ, take=1).segments[0]
    n = np.arange(int(segment.span.length / step))
    # both tones in closed form at the capture's own samples
    lower = spec.lower_over_upper / (1 + spec.lower_over_upper)
    seconds = step * n / RATE_HZ
    x = PEAK * (
        lower * np.cos(2 * np.pi * spec.lower_hz * seconds)
        + (1 - lower) * np.cos(2 * np.pi * spec.upper_hz * seconds)
    )
    samples = device(x) + rng.normal(0, noise, x.size)
    (pair,) = measure_pairs(Cut(samples, float(segment.span.start), step, RATE_HZ), segment)
    return pair


def decibels(ratio):
    return 20 * np.log10(ratio)


def test_the_rendered_pair_has_its_peak_and_both_amplitudes():
    segment = lay_out(Recipe("x", "x", (LOW_HIGH,)), rate_hz=RATE_HZ, take=1).segments[0]
    sound = segment.render(rate_hz=RATE_HZ)
    assert np.abs(sound).max() == pytest.approx(PEAK, rel=0.01)
    (pair,) = measure_pairs(Cut(sound, float(segment.span.start), 1.0, RATE_HZ), segment)
    # a fit of a noiseless sum of two cosines is exact
    assert pair.amplitudes[(1, 0)] == pytest.approx(0.8 * PEAK, rel=1e-9)
    assert pair.amplitudes[(0, 1)] == pytest.approx(0.2 * PEAK, rel=1e-9)
    assert isinstance(pair.total, Unmeasured)


@pytest.mark.parametrize("step", [1.0, 1 - 60e-6])
def test_sidebands_of_a_cubic_equal_the_closed_form(rng, step):
    pair = measured(LOW_HIGH, rng, step=step)
    low, high = 0.8 * PEAK, 0.2 * PEAK
    # x**3 gives the high tone 3/4 high**3 + 3/2 low**2 high, and each sideband of order 3 3/4 low**2 high
    own = high + A3 * (0.75 * high**3 + 1.5 * low**2 * high)
    d2, d3 = 2 * A2 * low * high / own, 2 * 0.75 * A3 * low**2 * high / own
    # sidebands lie 60 dB and more over the noise of each: 0.01 dB are more than 5 sigma
    assert pair.order(2).value == pytest.approx(decibels(d2), abs=0.01)
    assert pair.order(3).value == pytest.approx(decibels(d3), abs=0.01)
    assert pair.total.value == pytest.approx(decibels(np.hypot(d2, d3)), abs=0.01)
    assert isinstance(pair.order(4), Unmeasured)


def test_difference_products_refer_to_the_sum_of_both_tones(rng):
    pair = measured(CLOSE, rng)
    a = PEAK / 2
    own = a + A3 * (0.75 + 1.5) * a**3
    d2, d3 = A2 * a**2 / (2 * own), 2 * 0.75 * A3 * a**3 / (2 * own)
    assert pair.order(2).value == pytest.approx(decibels(d2), abs=0.01)
    assert pair.order(3).value == pytest.approx(decibels(d3), abs=0.01)
    assert pair.total.value == pytest.approx(decibels(np.hypot(d2, d3)), abs=0.01)


def test_products_relate_to_harmonics_of_one_tone_of_equal_peak(rng):
    # second order, low and high tone 4:1: 10.1 dB above the second harmonic of one tone of that peak
    pair = measured(LOW_HIGH, rng, device=lambda x: x + 1e-3 * x**2)
    assert pair.total.value - decibels(1e-3 * PEAK / 2) == pytest.approx(10.1, abs=0.02)
    # third order, equal tones: each product 2.5 dB below the third harmonic, and half of two is one of them
    pair = measured(CLOSE, rng, device=lambda x: x + 1e-3 * x**3)
    assert pair.total.value - decibels(1e-3 * PEAK**2 / 4) == pytest.approx(-2.5, abs=0.02)


def test_clean_pairs_give_a_bound_below_which_nothing_hides(rng):
    for spec in (LOW_HIGH, CLOSE):
        pair = measured(spec, rng, device=lambda x: x)
        # 4 sigma of one product, sigma = 1e-6 sqrt(2 / 14 000): the sum of a few of them lies within 20 dB
        one = decibels(4e-6 * np.sqrt(2 / 14_000) / pair.denominator)
        assert one - 3 < pair.total.at_most < one + 20
