"""Quantiles of chi-square against a library's."""

import numpy as np
import pytest
import scipy

from charprobe.values.chi_square import chi_square_95


@pytest.mark.parametrize("freedom", [0.3, 1.0, 2.0, 3.7, 12.0, 39.9, 40.1, 100.0, 1e3, 1e4, 3e5, 1e7])
def test_quantiles_are_those_of_the_library(freedom):
    wanted = 2 * scipy.special.gammaincinv(freedom / 2, [0.025, 0.975])
    np.testing.assert_allclose(chi_square_95(freedom), wanted, rtol=1e-12)  # the library's own rounding
