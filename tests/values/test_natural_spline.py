import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from charprobe.values.natural_spline import natural_spline


@pytest.mark.parametrize("count", [3, 4, 5, 17, 120])
def test_the_curve_is_the_one_that_scipy_draws_inside_and_beyond(count, rng):
    x = np.cumsum(rng.uniform(0.05, 1.0, count))
    y = rng.standard_normal(count)
    at = np.linspace(x[0] - 0.5, x[-1] + 0.5, 501)
    expected = CubicSpline(x, y, bc_type="natural")(at)
    np.testing.assert_allclose(
        natural_spline(at, x, y), expected, rtol=0, atol=1e-9 * np.abs(expected).max()
    )  # rounding


def test_it_goes_through_its_points_and_a_line_stays_one():
    x = np.array([0.0, 0.3, 1.0, 2.5])
    np.testing.assert_allclose(natural_spline(x, x, x**2), x**2, atol=1e-15)
    np.testing.assert_allclose(
        natural_spline(np.array([-1.0, 0.7, 4.0]), x, 2 * x - 1), [-3.0, 0.4, 7.0], atol=1e-14
    )
