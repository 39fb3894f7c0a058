import numpy as np
import pytest
from played import capture, short_stimulus

from charprobe.placing.track import Clock, Track

STIMULUS = short_stimulus()


def test_what_is_no_number_reads_as_nothing_and_the_rest_as_recorded():
    samples = np.array([[0.1, 1.0], [0.2, np.nan], [0.3, np.inf], [0.4, -np.inf], [0.5, -0.5]])
    track = Track(capture(samples), 1, STIMULUS)
    np.testing.assert_array_equal(track.finite(0, 5), [1.0, 0.0, 0.0, 0.0, -0.5])
    np.testing.assert_array_equal(track.finite(3, 99), [0.0, -0.5])  # clipped to the file
    assert track.label == "take.wav, channel 2"


def test_a_clock_that_is_fast_takes_more_samples():
    assert Clock(12.5, 100.0).factor == pytest.approx(1.0001, rel=1e-15)
