import numpy as np
import pytest

from charprobe.listening.what_it_did import describe


def test_the_gain_over_time_is_the_one_applied(bent):
    found = describe(bent[0], trace=bent[1])
    trace = found.trace
    truth = -4 + 3 * np.sin(2 * np.pi * 0.5 * trace.time_s)
    assert np.sqrt(np.mean((trace.gain_db - truth)[trace.known] ** 2)) < 0.1  # the stated goal
    assert found.histogram_share.sum() == pytest.approx(1)
    assert np.all((found.level_out_dbfs - found.level_in_dbfs > -7.1) & (found.level_out_dbfs < 0))
