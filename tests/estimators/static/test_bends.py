import numpy as np
import pytest

from charprobe.estimators.static.bend_search import add_bend, from_hinges, with_output_knee
from charprobe.estimators.static.bends import Shape, fit_bends

LEVEL = np.repeat(np.arange(-60.0, -1.0, 1.5), 2)


def knee(over, width):
    inside = np.clip(over + width / 2, 0, width)
    return inside**2 / (2 * width) + np.maximum(0, over - width / 2) if width else np.maximum(0, over)


def flat(gain, std):
    return fit_bends(LEVEL, gain, std=std, shape=Shape(False, ()), start=np.array([gain.mean()]))


@pytest.mark.parametrize("width", [3.0, 6.0, 20.0])
def test_a_quadratic_knee_is_recovered_to_rounding(width):
    gain = 4.0 - 0.7 * knee(LEVEL + 24.3, width)
    std = np.full(LEVEL.size, 1e-3)
    fit = add_bend(LEVEL, gain, std=std, base=flat(gain, std), facing=1)
    np.testing.assert_allclose(fit.parameters, [4.0, -24.3, width, -0.7], atol=1e-5)  # iteration stops there
    assert fit.reach(0) == pytest.approx((-24.3 - width / 2, -24.3 + width / 2), abs=1e-5)
    assert [s.slope for s in fit.sections] == pytest.approx([0, -0.7], abs=1e-7)


def test_bends_to_both_sides_are_recovered_in_order():
    gain = 1.0 - 1.5 * knee(-45.2 - LEVEL, 2.0) - 0.5 * knee(LEVEL + 20.1, 5.0)
    std = np.full(LEVEL.size, 1e-3)
    first = add_bend(LEVEL, gain, std=std, base=flat(gain, std), facing=-1)
    fit = add_bend(LEVEL, gain, std=std, base=first, facing=1)
    assert fit.shape.facing == (-1, 1)
    np.testing.assert_allclose(fit.parameters, [1.0, -45.2, 2.0, -1.5, -20.1, 5.0, -0.5], atol=1e-4)
    assert [s.slope for s in fit.sections] == pytest.approx([1.5, 0, -0.5], abs=1e-5)


def test_two_bends_that_one_wide_knee_nearly_fits_are_found_from_hinges():
    gain = -0.5 * knee(LEVEL + 30.0, 4.0) - 0.4 * knee(LEVEL + 9.2, 1.0)
    std = np.full(LEVEL.size, 1e-3)
    fit = from_hinges(LEVEL, gain, std=std, shape=Shape(False, (1, 1)))
    np.testing.assert_allclose(fit.parameters[[0, 1, 2, 3, 4, 6]], [0, -30, 4, -0.5, -9.2, -0.4], atol=1e-3)


@pytest.mark.parametrize("ratio", [2.0, 6.0])
def test_a_knee_on_the_output_axis_is_recovered(ratio):
    # a compressor that hears its own output y: y = x - (ratio - 1) knee(y + 30, 6), solved by bisection
    low, high = LEVEL - 60, LEVEL.copy()
    for _ in range(60):
        output = (low + high) / 2
        above = output + (ratio - 1) * knee(output + 30, 6.0) > LEVEL
        low, high = np.where(above, low, output), np.where(above, output, high)
    gain, std = output - LEVEL, np.full(LEVEL.size, 1e-3)
    plain = add_bend(LEVEL, gain, std=std, base=flat(gain, std), facing=1)
    fit = with_output_knee(LEVEL, gain, std=std, base=plain)
    # definitions: the knee spans T - W/2 ... T + R W/2 on the input axis
    np.testing.assert_allclose(fit.parameters, [0, -30, 3 * (1 + ratio), 1 / ratio - 1], atol=1e-3)
    assert fit.reach(0) == pytest.approx((-33, -30 + 3 * ratio), abs=1e-3)
    assert fit.chi2 < 1e-3 < plain.chi2


def test_stated_covariance_equals_the_real_scatter(rng):
    truth, sigma = np.array([4.0, -24.3, 6.0, -0.7]), 0.01
    clean = truth[0] + truth[3] * knee(LEVEL - truth[1], truth[2])
    std = np.full(LEVEL.size, sigma)
    scores = []
    for _ in range(120):
        gain = clean + rng.normal(0, sigma, LEVEL.size)
        fit = add_bend(LEVEL, gain, std=std, base=flat(gain, std), facing=1)
        scores.append((fit.parameters - truth) / np.sqrt(np.diag(fit.covariance)))
    # 3 sigma of a spread from 120 draws is 0.19; scaling by max(1, chi2/dof) widens by about 3 %
    np.testing.assert_allclose(np.std(scores, axis=0), 0.97, atol=0.2)


def test_a_hard_knee_between_steps_has_width_zero():
    gain = -0.75 * knee(LEVEL + 24.7, 0.0)
    std = np.full(LEVEL.size, 1e-3)
    fit = add_bend(LEVEL, gain, std=std, base=flat(gain, std), facing=1)
    assert fit.corner(0)[0] == pytest.approx(-24.7, abs=1e-4)
    assert fit.corner(0)[1] < 1.5  # narrower than the steps is all that points 1.5 dB apart can tell
