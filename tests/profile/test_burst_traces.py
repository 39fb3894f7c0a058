import dataclasses

import numpy as np
from made_profiles import B, made_profile

from charprobe.profile.burst_traces import edge_trace, of_edge, reference_step
from charprobe.profile.entry import Entry, Table
from charprobe.values.quantity import Quantity, Unmeasured

TIMING = Table(
    {"attack_t63_s": [0.2, 0.005, 0.05], "release_t63_s": [0.3, None, 0.12]},
    {"attack_t63_s": "s", "release_t63_s": "s"},
)
TRACE = Table(
    {
        "step": [0, 1, 1, 1],
        "edge": ["attack", "attack", "release", "attack"],
        "time_s": [0.0, 1.0, 2.0, 3.0],
        "gain_db": [-1.0, -2.0, -3.0, -4.0],
    },
    {"step": "", "edge": "", "time_s": "s", "gain_db": "dB"},
)


def profile_with(attack, release):
    made = made_profile(B)
    readings = {"attack.t63": Entry(attack, ""), "release.t63": Entry(release, "")}
    return dataclasses.replace(
        made, quantities={**made.quantities, **readings}, curves={**made.curves, "timing": TIMING}
    )


NONE = Unmeasured("s", "not measured", "measure")


def seconds(value):
    return Quantity.from_std(value, 0.01 * value, "s")


def test_the_reference_is_the_row_with_the_published_time():
    assert reference_step(profile_with(seconds(0.0051), seconds(0.31))) == 1
    assert reference_step(profile_with(seconds(0.051), seconds(0.31))) == 2
    assert reference_step(profile_with(NONE, seconds(0.13))) == 2
    assert reference_step(profile_with(NONE, NONE)) == 0


def test_a_trace_is_that_of_one_edge_of_one_row():
    np.testing.assert_array_equal(of_edge(TRACE, "attack", 1), [False, True, False, True])
    time_s, gain_db = edge_trace(TRACE, "attack", 1)
    np.testing.assert_array_equal(time_s, [1.0, 3.0])
    np.testing.assert_array_equal(gain_db, [-2.0, -4.0])
