import math

import numpy as np
import pytest
from published_readings import entries, exponential, taken_back, trace


def test_a_law_with_the_times_of_its_release_stays():
    assert not taken_back(entries(**exponential(0.1), release__tau_1=0.1, release__stages=1))
    assert not taken_back(entries(**exponential(0.1, 0.04), release__tau_1=0.1, release__hold=0.04))


def test_one_exponential_of_a_release_that_is_none_is_taken_back():
    read = entries(release__t63=0.1, release__t90=0.174, release__tau_1=0.1, release__stages=1)
    assert taken_back(read) == {"release.tau_1", "release.stages"}


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


def test_a_straight_line_is_judged_by_its_own_times():
    line = {"release__t50": 0.1, "release__rate": 50.0}
    assert not taken_back(entries(release__t90=0.18, **line))
    assert taken_back(entries(release__t90=0.22, **line)) == {"release.rate"}


def test_two_exponentials_are_judged_by_their_own_times():
    times = np.linspace(0, 6, 600_001)
    left = 0.5 * np.exp(-times / 0.06) + 0.5 * np.exp(-times / 1.2)
    t63, t90 = (float(times[np.argmax(left <= level)]) for level in (math.exp(-1), 0.1))
    law = {"release__tau_1": 0.06, "release__tau_2": 1.2, "release__tau_1_share": 50.0}
    assert not taken_back(entries(release__t63=t63, release__t90=t90, **law))
    assert "release.tau_2" in taken_back(entries(release__t63=t63, release__t90=1.5 * t90, **law))


@pytest.mark.parametrize("edge", ["attack", "release"])
def test_times_out_of_order_are_taken_back(edge):
    read = entries(**{f"{edge}__t50": 0.011, f"{edge}__t63": 0.010, f"{edge}__t90": 0.02})
    assert taken_back(read) == {f"{edge}.t50", f"{edge}.t63", f"{edge}.t90"}
