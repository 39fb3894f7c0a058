import numpy as np
import pytest

from charprobe.values.orders import BLOCK, orders_of

COUNT, HIGHEST, FIRST, PER_SAMPLE = 3 * BLOCK + 17, 7, 0.37, 0.0613


@pytest.fixture
def powers():
    """Every order at every sample, straight from its definition; shape (orders, COUNT)."""
    turns = FIRST + PER_SAMPLE * np.arange(COUNT)
    return np.exp(2j * np.pi * np.outer(np.arange(HIGHEST + 1), turns))


@pytest.mark.parametrize("count", [COUNT, BLOCK, 5])
def test_sums_and_waves_are_those_of_the_definition(rng, powers, count):
    laid_out = orders_of(FIRST, PER_SAMPLE, count=count, highest=HIGHEST)
    rows = rng.standard_normal((2, count))
    amplitudes = rng.standard_normal(HIGHEST + 1) + 1j * rng.standard_normal(HIGHEST + 1)
    # thousands of terms of size 1, each exact to rounding
    np.testing.assert_allclose(laid_out.sums(rows), rows @ powers[:, :count].conj().T, atol=1e-10)
    np.testing.assert_allclose(laid_out.wave(amplitudes), (amplitudes @ powers[:, :count]).real, atol=1e-11)
