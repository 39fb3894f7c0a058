"""Straight lines, whose least squares have a closed form; criteria against their definitions."""

import numpy as np
import pytest

from charprobe.estimators.fitting import aicc, bic, fit_unknowns

X = np.linspace(-1.0, 2.0, 31)
STD = 0.2
FREE = ([-np.inf, -np.inf], [np.inf, np.inf])


def fitted_line(y, bounds=FREE):
    def misfit(unknowns):
        basis = np.column_stack([np.ones_like(X), X])
        return (basis @ unknowns - y) / STD, basis / STD

    return fit_unknowns(misfit, [0.1, 0.1], bounds=bounds, rounds=60, tolerance=1e-10)


def test_values_covariance_and_chi2_of_a_line_equal_the_normal_equations(rng):
    y = 0.5 - 0.3 * X + rng.normal(0, STD, X.size)
    found = fitted_line(y)
    basis = np.column_stack([np.ones_like(X), X])
    covariance = STD**2 * np.linalg.inv(basis.T @ basis)
    values = covariance @ basis.T @ y / STD**2
    np.testing.assert_allclose(found.values, values, atol=1e-8)  # where the search stops
    np.testing.assert_allclose(found.covariance, covariance, rtol=1e-9)
    assert found.chi2 == pytest.approx(np.sum((y - basis @ values) ** 2) / STD**2, rel=1e-9)
    assert found.std(1) == pytest.approx(np.sqrt(covariance[1, 1]), rel=1e-9)
    assert not found.at_bound


def test_an_unknown_that_ends_at_its_bound_is_told():
    found = fitted_line(0.5 - 0.3 * X, bounds=([-np.inf, 0.0], [np.inf, np.inf]))
    assert found.at_bound
    assert found.values[1] == pytest.approx(0.0, abs=1e-6)


def test_criteria_follow_their_definitions_and_the_richer_model_must_pay():
    assert aicc(10.0, points=20, unknowns=3) == pytest.approx(10 + 6 + 24 / 16)
    assert bic(10.0, points=20, unknowns=3) == pytest.approx(10 + 3 * np.log(20))
    assert aicc(10.0, points=20, unknowns=4) > aicc(10.0, points=20, unknowns=3)
    assert bic(10.0, points=20, unknowns=4) > bic(10.0, points=20, unknowns=3)
