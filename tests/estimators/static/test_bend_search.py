import numpy as np
import pytest
from bent_curves import LEVEL, flat, knee

from charprobe.estimators.static.bend_search import add_bend, from_hinges, with_output_knee
from charprobe.estimators.static.bends import Shape


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
