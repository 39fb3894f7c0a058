import math

import pytest
from burst_device import exponential, play, recipe
from timed_edges import PARTS, times

from charprobe.estimators.timing.edge.settling import gain_before
from charprobe.estimators.timing.edge.times import time_edge
from charprobe.estimators.timing.trace.trace_edges import trace_edges
from charprobe.values.quantity import Quantity, Unmeasured


def test_a_release_longer_than_the_gap_is_a_bound_that_holds(rng):
    tau_s = 3.0
    device = exponential(attack_s=0.002, release_s=tau_s, depth_db=10, hold_s=0.2)
    _, release = times(device, rng, hold_s=0.2, release_s=0.5)
    assert not release.settled
    for name, part in PARTS.items():
        reading = getattr(release, name)
        assert isinstance(reading, Unmeasured)
        assert 0 < reading.at_least < -tau_s * math.log(1 - part)


def test_a_record_that_ends_too_early_is_timed_against_a_gain_known_to_be_reached(rng):
    tau_s, end_s = 0.3, 0.25 - 0.006
    device = exponential(attack_s=0.002, release_s=tau_s, depth_db=10, hold_s=0.2)
    bursts, wet, dry = play(
        recipe(hold_s=0.2, release_s=0.25), device, rate_hz=48_000, rng=rng, noise_dbfs=-110.0
    )
    _, trace = trace_edges(wet, bursts=bursts, bypass=dry)
    known = time_edge(trace, rest_db=None, rest=Quantity.from_std(0.0, 0.01, "dB"))
    assert known.t50.low <= tau_s * math.log(2) <= known.t50.high
    assert known.t50.value == pytest.approx(tau_s * math.log(2), rel=0.01)
    for beyond in (known.t63, known.t90):
        assert beyond.at_least == pytest.approx(end_s, abs=0.002)
    assert known.left == pytest.approx(math.exp(-end_s / tau_s), abs=0.02)
    unsure = time_edge(trace, rest_db=None, rest=Quantity.from_std(0.0, 1.0, "dB"))
    assert isinstance(unsure.t50, Unmeasured)


@pytest.mark.parametrize("tau_s", [0.02, 0.4])
def test_a_gain_before_an_edge_knows_what_it_still_had_to_go(rng, tau_s):
    device = exponential(attack_s=0.002, release_s=tau_s, depth_db=10, hold_s=0.2)
    plan = recipe(hold_s=0.2, release_s=0.4)
    bursts, wet, dry = play(plan, device, rate_hz=48_000, rng=rng, noise_dbfs=-110.0)
    attack, _ = trace_edges(wet, bursts=bursts[1:], bypass=dry)
    lead = gain_before(attack)
    assert lead.left_db == pytest.approx(lead.value_db, abs=0.03)  # it would come back to 0 dB
