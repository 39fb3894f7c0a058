import math

import pytest
import scipy

from charprobe.values.quantity import Z95, Quantity, Unmeasured, difference_db, student_factor


def test_a_standard_uncertainty_becomes_a_95_percent_interval_and_comes_back():
    quantity = Quantity.from_std(3.0, 0.5, "dB")
    half = 0.5 * 1.959964  # of a normal distribution, from tables
    assert (quantity.low, quantity.high) == pytest.approx((3 - half, 3 + half), abs=1e-6)
    assert quantity.std == pytest.approx(0.5, rel=1e-12)


@pytest.mark.parametrize(
    "ends", [(1.0, 2.0, 3.0), (math.nan, 0.0, 1.0), (math.inf, 0.0, math.inf), (1.0, math.nan, 2.0)]
)
def test_a_value_outside_its_interval_or_no_number_is_refused(ends):
    with pytest.raises(ValueError, match="not a value inside its interval"):
        Quantity(*ends, "dB")


def test_errors_of_a_difference_add_as_squares_end_against_opposite_end():
    found = difference_db(Quantity(5.0, 2.0, 5.3, "dB"), Quantity(1.0, 0.6, 5.0, "dB"))
    assert (found.value, found.low, found.high) == pytest.approx((4.0, 4.0 - 5.0, 4.0 + 0.5))


def test_a_bound_is_told_from_nothing():
    assert not Unmeasured("s", "why", "next").bounded
    assert Unmeasured("s", "why", "next", at_most=0.0).bounded
    assert Unmeasured("s", "why", "next", at_least=0.0).bounded


@pytest.mark.parametrize("dof", [1, 2, 3, 4, 7, 30, 31, 400])
def test_few_degrees_of_freedom_widen_as_scipy_knows(dof):
    assert student_factor(dof) == pytest.approx(scipy.special.stdtrit(dof, 0.975) / Z95, rel=1e-12)
