import numpy as np
import pytest

from charprobe.values.hann import hann, hann_within


@pytest.mark.parametrize("count", [8, 9])
def test_a_line_on_a_bin_reaches_that_bin_and_its_neighbours_alone(count):
    spectrum = np.abs(np.fft.fft(hann_within(count)))  # of the line at zero
    np.testing.assert_allclose(spectrum[[0, 1, -1]], np.array([0.5, 0.25, 0.25]) * count, atol=1e-12)
    np.testing.assert_allclose(spectrum[2:-1], 0.0, atol=1e-12)


def test_one_has_its_zeros_on_samples_the_other_half_a_sample_beyond():
    np.testing.assert_allclose(hann(9)[[0, -1]], 0.0, atol=1e-15)
    np.testing.assert_allclose(hann_within(4), hann(9)[1::2], atol=1e-15)
