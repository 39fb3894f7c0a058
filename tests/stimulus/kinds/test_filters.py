import numpy as np
import pytest
import scipy

from charprobe.stimulus.kinds.filters import band_pass, low_pass

RATE_HZ = 48_000


@pytest.mark.parametrize("order", [1, 2, 6])
def test_filters_are_those_of_recursive_sections(rng, order):
    # two ways to the same closed form; a recursion rounds, most where its corner is low
    sound = rng.standard_normal(9000)
    sections = scipy.signal.butter(order, 5000.0, fs=RATE_HZ, output="sos")
    found = low_pass(sound, order=order, corner_hz=5000.0, rate_hz=RATE_HZ)
    np.testing.assert_allclose(found, scipy.signal.sosfilt(sections, sound), rtol=0, atol=1e-12)
    sections = scipy.signal.butter(order, (200.0, 5000.0), "bandpass", fs=RATE_HZ, output="sos")
    found = band_pass(sound, order=order, corners_hz=(200.0, 5000.0), rate_hz=RATE_HZ)
    np.testing.assert_allclose(found, scipy.signal.sosfilt(sections, sound), rtol=0, atol=1e-9)
