import math

import numpy as np
import pytest
from burst_device import play, recipe

from charprobe.estimators.timing.edge.times import time_edge
from charprobe.estimators.timing.trace.trace_edges import trace_edges

DEPTH_DB, TAU_S, RELEASE_S = 12.0, 0.002, 0.02
SHORT = {"hold_s": 0.05, "lead_s": 0.06, "release_s": 0.12, "phases": 5, "carrier_hz": 4093.0}


def bursts(late_s, start_db, release_s, rng):
    """Both traces of five bursts that each fall late, from a gain and with a release of their own."""
    calls = iter(range(1000))

    def gain_db(since_rise, since_fall):
        burst = next(calls) // 3  # three tones each
        left = np.exp(-np.maximum(since_rise - late_s[burst], 0) / TAU_S)
        down = -DEPTH_DB + (DEPTH_DB + start_db[burst]) * left
        return np.where(
            since_fall < 0, down, -DEPTH_DB * np.exp(-np.maximum(since_fall, 0) / release_s[burst])
        )

    played, wet, dry = play(recipe(**SHORT), gain_db, rate_hz=48_000, rng=rng, noise_dbfs=-100.0)
    return trace_edges(wet, bursts=played, bypass=dry)


def test_the_first_burst_stands_for_all_where_a_charged_detector_starts_the_others_early(rng):
    late_s = np.array([1e-3, 4e-4, 4e-4, 4e-4, 4e-4])
    attack, release = bursts(late_s, np.zeros(5), np.full(5, RELEASE_S), rng)
    t50 = time_edge(attack, rest_db=None).t50
    truth = 1e-3 + TAU_S * math.log(2)
    assert t50.low <= truth <= t50.high
    assert t50.high - t50.low < 0.6e-3  # the mean of all lies 0.48 ms early
    assert not attack.first.alone
    assert release.first is None


def test_the_first_burst_stands_for_all_where_the_others_start_before_the_gain_is_back(rng):
    attack, _ = bursts(np.zeros(5), np.array([0.0, -3.0, -3.0, -3.0, -3.0]), np.full(5, RELEASE_S), rng)
    before = time_edge(attack, rest_db=None).before
    assert before.value == pytest.approx(
        0.0, abs=0.02
    )  # noise of -100 dBFS beside -40 dBFS over a lead of 60 ms


def test_the_others_stand_for_all_where_the_first_alone_still_comes_to_the_low_level(rng):
    """A low level within reduction: the first burst reaches it from silence, the others from above."""
    calls = iter(range(1000))
    still_s = np.array([0.02, 1e-4, 1e-4, 1e-4, 1e-4])

    def gain_db(since_rise, since_fall):
        burst = next(calls) // 3
        low = -2.0 + 2.0 * np.exp(-np.maximum(since_rise + SHORT["lead_s"], 0) / still_s[burst])
        high = -6.0 + (low + 6.0) * np.exp(-np.maximum(since_rise, 0) / TAU_S)
        back = -2.0 - 4.0 * np.exp(-np.maximum(since_fall, 0) / RELEASE_S)
        return np.where(since_fall < 0, np.where(since_rise < 0, low, high), back)

    played, wet, dry = play(recipe(**SHORT), gain_db, rate_hz=48_000, rng=rng, noise_dbfs=-100.0)
    attack, _ = trace_edges(wet, bursts=played, bypass=dry)
    # the first lies 0.1 dB above where the others start: it is left out, and stands for none
    assert attack.first is None and attack.scatter.odd.repetition == 0


def test_a_store_that_fills_from_burst_to_burst_is_told_and_widens_the_release(rng):
    release_s = RELEASE_S * np.array([1.0, 1.25, 1.35, 1.39, 1.405])
    _, release = bursts(np.zeros(5), np.zeros(5), release_s, rng)
    t63 = time_edge(release, rest_db=None).t63
    assert release.first.alone
    assert t63.low <= RELEASE_S <= t63.high


def test_the_others_stand_for_all_where_the_first_recovers_later_from_sound_before_the_set(rng):
    release_s = RELEASE_S * np.array([1.15, 1.0, 1.0, 1.0, 1.0])
    _, release = bursts(np.zeros(5), np.zeros(5), release_s, rng)
    t63 = time_edge(release, rest_db=None).t63
    assert t63.low <= RELEASE_S <= t63.high < 1.02 * RELEASE_S


def test_bursts_alike_are_left_as_they_are(rng):
    for trace in bursts(np.zeros(5), np.zeros(5), np.full(5, RELEASE_S), rng):
        assert trace.first is None


def test_a_trace_that_the_first_burst_stands_for_goes_on_smoothly_to_its_end(rng):
    """Stops and kinks where windows meet would be taken for a law of the movement, and for its rest."""
    calls, slow_s = iter(range(1000)), np.array([0.06, 0.03, 0.03, 0.03, 0.03])

    def own_db(since_rise, slow):
        since = np.maximum(since_rise, 0)
        return -DEPTH_DB * (1 - 0.7 * np.exp(-since / TAU_S) - 0.3 * np.exp(-since / slow))

    def gain_db(since_rise, since_fall):
        down = own_db(since_rise, slow_s[next(calls) // 3])
        return np.where(since_fall < 0, down, -DEPTH_DB * np.exp(-np.maximum(since_fall, 0) / RELEASE_S))

    played, wet, dry = play(recipe(**SHORT), gain_db, rate_hz=48_000, rng=rng, noise_dbfs=-90.0)
    attack, _ = trace_edges(wet, bursts=played, bypass=dry)
    assert attack.first is not None
    late = attack.time_s > SHORT["hold_s"] / 2
    off = (attack.gain_db[late] - own_db(attack.time_s[late], slow_s[0])) / attack.std_db[late]
    # noise alone makes 1; that of the first burst, which is one of five, as much as sqrt(5) more
    assert math.sqrt(np.mean(off**2)) < math.sqrt(1 + 5)
