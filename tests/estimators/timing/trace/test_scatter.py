import math

import numpy as np
import pytest
from burst_device import play, recipe

from charprobe.estimators.timing.edge.times import time_edge
from charprobe.estimators.timing.trace.trace_edges import trace_edges
from charprobe.values.quantity import Quantity

DEPTH_DB, TAU_S = 12.0, 0.002
SHORT = {"hold_s": 0.05, "lead_s": 0.06, "release_s": 0.1}


def unlike(late_s, *, start_db, rng, **changes):
    """Both gain traces of bursts that fall `late_s` after the edge, one time per burst, from gains of their own."""
    calls = iter(range(1000))

    def gain_db(since_rise, since_fall):
        burst = next(calls) // 3  # three tones each
        left = np.exp(-np.maximum(since_rise - late_s[burst], 0) / TAU_S)
        down = -DEPTH_DB + (DEPTH_DB + start_db[burst]) * left
        return np.where(since_fall < 0, down, -DEPTH_DB * np.exp(-np.maximum(since_fall, 0) / 0.02))

    bursts, wet, dry = play(recipe(**SHORT | changes), gain_db, rate_hz=48_000, rng=rng, noise_dbfs=-100.0)
    return trace_edges(wet, bursts=bursts, bypass=dry)


def test_intervals_hold_the_mean_of_bursts_that_do_not_repeat(rng):
    # 12 draws x 3 times of 5 bursts that come late by 0.1 ms rms; the times of a draw miss together, and three
    # draws that miss are a 3 sigma event at 95 %
    held = 0
    for _ in range(12):
        late_s = 3e-4 + rng.normal(0, 1e-4, 5)
        attack, _ = unlike(late_s, start_db=np.zeros(5), rng=rng, phases=5)
        found = time_edge(attack, rest_db=None)
        for name, part in (("t50", 0.5), ("t63", 1 - math.exp(-1)), ("t90", 0.9)):
            reading = getattr(found, name)
            assert isinstance(reading, Quantity)
            held += reading.low <= 3e-4 - TAU_S * math.log(1 - part) <= reading.high
    assert held >= 27


def test_bursts_that_repeat_have_no_scatter(rng):
    found = []
    for _ in range(8):
        for trace in unlike(np.zeros(5), start_db=np.zeros(5), rng=rng, phases=5):
            found += [trace.scatter.at(time_s) for time_s in (0.0005, 0.002, 0.01)]
            assert trace.scatter.odd is None
    # noise of -100 dBFS beside -40 dBFS is 0.009 dB a sample, a window has six and more, and two degrees of
    # freedom of five bursts widen by 2.2: 0.008 dB where noise is all there is
    assert np.sqrt(np.mean(np.square(found))) < 0.008


@pytest.mark.parametrize("odd", [0, 3])
def test_the_one_burst_that_starts_from_another_gain_is_found(odd, rng):
    start_db = np.zeros(5)
    start_db[odd] = -0.5
    attack, _ = unlike(np.zeros(5), start_db=start_db, rng=rng, phases=5)
    found = attack.scatter.odd
    assert found.repetition == odd
    assert found.off_db == pytest.approx(-0.5, abs=0.01)


def test_bursts_that_all_start_from_unlike_gains_have_no_odd_one_and_a_wide_start(rng):
    attack, _ = unlike(np.zeros(5), start_db=np.array([-0.5, -0.3, -0.2, -0.1, 0.0]), rng=rng, phases=5)
    assert attack.scatter.odd is None
    assert attack.scatter.before_std_db > 0.02
