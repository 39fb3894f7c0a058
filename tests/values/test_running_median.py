import numpy as np
import pytest

from charprobe.values.running_median import running_median


@pytest.mark.parametrize("beyond", ["edge", "symmetric"])
def test_each_value_is_the_median_of_those_around_it(rng, beyond):
    values = rng.standard_normal(40)
    padded = np.pad(values, 3, mode=beyond)
    expected = [np.median(padded[i : i + 7]) for i in range(values.size)]
    np.testing.assert_array_equal(running_median(values, width=7, beyond=beyond), expected)


@pytest.mark.parametrize("size", [3, 7, 8, 100])
def test_the_middle_of_several_serves_all_of_them(size, rng):
    values, every = rng.standard_normal(size), 7
    each = running_median(values, width=5, beyond="symmetric")
    middles = [min(at // every * every + every // 2, size - 1) for at in range(size)]
    assert np.array_equal(running_median(values, width=5, beyond="symmetric", every=every), each[middles])
