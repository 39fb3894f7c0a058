import numpy as np
import pytest
from bent_curves import LEVEL, flat, knee

from charprobe.estimators.static.bend_search import add_bend


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
