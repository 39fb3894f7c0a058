"""Gains that go out at an edge and come back: closed forms of a device that answers changes of level."""

import numpy as np
import pytest
from burst_device import play, recipe
from scipy import signal
from timed_edges import times

from charprobe.estimators.timing.edge.excursion import LASTING_S, excursion_db
from charprobe.estimators.timing.trace.trace_edges import trace_edges
from charprobe.values.cut import Cut
from charprobe.values.quantity import Unmeasured

UP_DB, TAU_S = 9.0, 0.02


def there_and_back(since_rise, since_fall):
    """A lift at the rise and a dip at the fall, both gone after some `TAU_S`."""
    lift = np.where(since_rise > 0, UP_DB * np.exp(-np.maximum(since_rise, 0) / TAU_S), 0.0)
    dip = np.where(since_fall > 0, UP_DB * np.exp(-np.maximum(since_fall, 0) / TAU_S), 0.0)
    return np.where(since_fall < 0, lift, -dip)


def test_a_gain_that_comes_back_is_told_by_how_far_it_goes_out(rng):
    bursts, wet, dry = play(recipe(), there_and_back, rate_hz=48_000, ppm=20.0, rng=rng)
    attack, release = trace_edges(wet, bursts=bursts, bypass=dry)
    mean_db = UP_DB * TAU_S / LASTING_S * (1 - np.exp(-LASTING_S / TAU_S))  # of its first 4 ms
    assert excursion_db(attack, 0.0) == pytest.approx(mean_db, rel=0.03)  # a window may start a sample late
    assert excursion_db(release, 0.0) == pytest.approx(-mean_db, rel=0.03)


def test_such_a_stage_is_not_said_to_have_nothing_to_time(rng):
    attack, release = times(there_and_back, rng)
    for edge in (attack, release):
        assert isinstance(edge.t63, Unmeasured) and "comes back to where it was" in edge.t63.reason


@pytest.mark.parametrize(
    ("peak_hz", "q", "gain_db"), [(3200.0, 3.0, 9.0), (6000.0, 4.0, 7.0), (5000.0, 8.0, 12.0)]
)
def test_an_equaliser_that_rings_behind_a_burst_goes_nowhere(peak_hz, q, gain_db, rng):
    bursts, wet, dry = play(recipe(), lambda rise, fall: 0.0 * rise, rate_hz=48_000, rng=rng)
    lift, turn = 10 ** (gain_db / 40), 2 * np.pi * peak_hz / 48_000
    alpha = np.sin(turn) / (2 * q)
    bell = (
        [1 + alpha * lift, -2 * np.cos(turn), 1 - alpha * lift],
        [1 + alpha / lift, -2 * np.cos(turn), 1 - alpha / lift],
    )
    rung = Cut(signal.lfilter(*bell, wet.samples), wet.start, wet.step, wet.rate_hz)
    for trace in trace_edges(rung, bursts=bursts, bypass=dry):
        assert excursion_db(trace, float(trace.gain_db[-20:].mean())) == 0.0


@pytest.mark.parametrize("noise_dbfs", [-110.0, -70.0])
def test_a_wire_goes_nowhere_whatever_its_noise(noise_dbfs, rng):
    bursts, wet, dry = play(
        recipe(), lambda rise, fall: 0.0 * rise, rate_hz=48_000, rng=rng, noise_dbfs=noise_dbfs
    )
    for trace in trace_edges(wet, bursts=bursts, bypass=dry):
        assert excursion_db(trace, 0.0) == 0.0
