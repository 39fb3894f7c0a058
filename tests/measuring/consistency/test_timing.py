import numpy as np
import pytest
from published_readings import entries, taken_back, trace


def test_a_release_timed_at_a_spike_is_taken_back():
    time_s = np.geomspace(5e-5, 0.5, 200)
    read = entries(release__t63=1e-4, release__t90=2e-4)
    fast, slow = (-10 * np.exp(-time_s / tau) for tau in (1e-4, 0.09))
    assert not taken_back(read, trace(time_s, fast))
    spike = np.where(time_s < 8e-4, 5.0, slow)
    assert taken_back(read, trace(time_s, spike)) == {"release.t63", "release.t90"}
    read = entries(release__within_4db=3e-4)
    assert not taken_back(read, trace(time_s, fast))
    assert taken_back(read, trace(time_s, spike)) == {"release.within_4db"}


@pytest.mark.parametrize("edge", ["attack", "release"])
def test_times_out_of_order_are_taken_back(edge):
    read = entries(**{f"{edge}__t50": 0.011, f"{edge}__t63": 0.010, f"{edge}__t90": 0.02})
    assert taken_back(read) == {f"{edge}.t50", f"{edge}.t63", f"{edge}.t90"}
