import numpy as np
import pytest

from charprobe.values.running_median import running_median


@pytest.mark.parametrize("beyond", ["edge", "symmetric"])
def test_each_value_is_the_median_of_those_around_it(rng, beyond):
    values = rng.standard_normal(40)
    padded = np.pad(values, 3, mode=beyond)
    expected = [np.median(padded[i : i + 7]) for i in range(values.size)]
    np.testing.assert_array_equal(running_median(values, width=7, beyond=beyond), expected)
