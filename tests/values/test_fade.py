import numpy as np

from charprobe.values.fade import faded_ends


def test_ends_rise_and_fall_as_raised_cosines_and_the_rest_stays():
    gains = faded_ends(100, 11)
    assert gains[0] == gains[-1] == 0.0
    np.testing.assert_array_equal(gains, gains[::-1])
    np.testing.assert_array_equal(gains[10:90], 1.0)
    np.testing.assert_allclose(gains[:11], (1 - np.cos(np.pi * np.arange(11) / 10)) / 2, rtol=0, atol=1e-15)
