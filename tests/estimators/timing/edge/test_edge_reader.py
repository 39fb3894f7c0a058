import math

import numpy as np
import pytest
from burst_device import exponential
from timed_edges import PARTS, times

from charprobe.estimators.timing.edge.edge_reader import time_of
from charprobe.values.quantity import Quantity, Unmeasured


def test_a_time_beyond_the_record_is_at_least_the_record(rng):
    device = exponential(attack_s=0.002, release_s=0.3, depth_db=10, hold_s=0.2)
    _, release = times(device, rng, hold_s=0.2, release_s=0.6)
    assert isinstance(release.t63, Quantity)
    assert isinstance(release.t90, Unmeasured)
    assert 0.58 < release.t90.at_least < 0.3 * math.log(10)


@pytest.mark.parametrize("beyond", [0.1, -0.5])
def test_a_crossing_that_does_not_stay_crossed_is_none(beyond, rng):
    def device(since_rise, since_fall):
        left = np.where(since_fall < 3e-4, beyond, np.exp(-np.maximum(since_fall, 0) / 0.08))
        down = -10 * (1 - np.exp(-np.maximum(since_rise, 0) / 0.002))
        return np.where(since_fall < 0, down, -10 * left)

    _, release = times(device, rng)
    for name, part in PARTS.items():
        assert getattr(release, name).value == pytest.approx(-0.08 * math.log(1 - part), rel=0.01)
    assert release.within_2db.value == pytest.approx(0.08 * math.log(10 / 2), rel=0.01)


def test_a_gain_that_falls_back_by_two_percent_clear_of_its_noise_has_not_passed_for_good(rng):
    def device(since_rise, since_fall):
        down = -10 * (1 - np.exp(-np.maximum(since_rise, 0) / 0.002))
        after = np.maximum(since_fall, 0)
        quick, slow, bump = (1 - np.exp(-after / time_s) for time_s in (0.001, 0.1, 0.02))
        done = 0.94 * quick + 0.06 * slow - 0.12 * bump * np.exp(-after / 0.1)
        return np.where(since_fall < 0, down, -10 * (1 - done))

    at = np.linspace(0, 0.6, 600_001)
    short = -device(np.full(at.size, 1.0), at) > 1.0
    assert at[np.argmin(short)] < 0.1 * at[np.flatnonzero(short)[-1]]
    _, release = times(device, rng)
    assert release.t90.value == pytest.approx(at[np.flatnonzero(short)[-1]], rel=0.02)


def test_a_time_that_is_not_told_from_zero_is_a_bound():
    assert time_of(1e-3, 4e-4).low > 0
    assert time_of(1e-3, 6e-4).at_most == pytest.approx(1e-3 + 1.96 * 6e-4, rel=1e-4)


def test_an_attack_below_the_resolution_is_a_bound(rng):
    device = exponential(attack_s=5e-6, release_s=0.05, depth_db=10, hold_s=0.4)
    attack, _ = times(device, rng)
    assert isinstance(attack.t63, Unmeasured)
    assert 5e-6 < attack.t63.at_most <= 4 / 48_000


def test_a_gain_set_once_a_millisecond_has_times_no_surer_than_that(rng):
    """Where in its clock a burst comes is chance: another take may find each time up to a millisecond away."""

    def device(since_rise, since_fall):
        clock_s = 1e-3 * (np.floor(since_rise / 1e-3 - 0.6) + 0.6)  # it is set first 0.6 ms after the edge
        down = -12 * (1 - np.exp(-np.maximum(clock_s, 0) / 0.004))
        return np.where(since_fall < 0, down, -12 * np.exp(-np.maximum(since_fall, 0) / 0.1))

    attack, release = times(device, rng, phases=5, carrier_hz=4093.0)
    for name, part in PARTS.items():
        found, smooth_s = getattr(attack, name), -0.004 * math.log(1 - part)
        assert found.low <= smooth_s <= found.high and found.low <= smooth_s + 1e-3 <= found.high
    assert release.t63.high - release.t63.low < 2e-3  # smooth: as sure as ever


def test_a_gain_that_stands_still_at_a_limit_reaches_it_at_no_certain_time(rng):
    def device(since_rise, since_fall):
        down = -12 * (1 - np.exp(-np.maximum(since_rise, 0) / 0.002))
        left = -12 * np.exp(-np.maximum(since_fall, 0) / 0.1)
        return np.where(since_fall < 0, down, 0.5 * np.round(left / 0.5))

    _, release = times(device, rng, phases=5, carrier_hz=4093.0)
    reached_s, left_s = (0.1 * math.log(12 / level_db) for level_db in (2.25, 1.75))  # it stands at -2.0 dB
    assert release.within_2db.low < reached_s + 1e-3
    assert release.within_2db.high > left_s - 1e-3
    between = 0.1 * math.log(12 / (12 * (1 - PARTS["t63"])))  # no stand at 63 %
    assert release.t63.value == pytest.approx(between, rel=0.06)
