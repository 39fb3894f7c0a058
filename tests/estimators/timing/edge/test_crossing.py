"""The parts of a crossing: monotone and smoothed traces, and what a correction does."""

from types import SimpleNamespace

import numpy as np
import pytest

from charprobe.estimators.timing.edge.crossing import Crossing, first_reached, smooth


def test_a_level_is_first_reached_where_the_closest_monotone_sequence_has_it():
    gain = np.array([1.0, 3.0, 2.0, 4.0])  # pooled: 1, 2.5, 2.5, 4
    levels = (0.5, 1.5, 2.4, 2.6, 4.1)
    sums, weights = np.cumsum(gain), np.arange(1.0, 5.0)
    assert [first_reached(sums, weights, level, rising=True) for level in levels] == [0, 1, 1, 3, 4]
    assert [first_reached(-sums, weights, -level, rising=False) for level in levels] == [0, 1, 1, 3, 4]
    # three times the weight on the third: (3 + 3 x 2) / 4 = 2.25
    weights = np.array([1.0, 1.0, 3.0, 1.0])
    sums, weights = np.cumsum(gain * weights), np.cumsum(weights)
    assert [first_reached(sums, weights, level, rising=True) for level in (2.2, 2.3)] == [1, 3]


def test_means_bring_the_noise_down_and_never_cross_the_edge(rng):
    time_s = np.arange(-500, 500) / 48_000
    gain = np.where(time_s < 0, 0.0, -12.0)
    trace = SimpleNamespace(time_s=time_s, gain_db=gain, std_db=np.full(time_s.size, 0.1))
    np.testing.assert_allclose(smooth(trace, to_std_db=0.02), gain)
    trace.gain_db = gain + rng.normal(0, 0.1, gain.size)
    left = (smooth(trace, to_std_db=0.02) - gain)[100:400]
    assert np.std(left) < 0.04  # 25 points: 0.02, and few of them are independent


def test_a_correction_moves_a_crossing_and_adds_its_own_uncertainty():
    moved = Crossing(0.01, 3e-5, -900.0).shifted(-2e-4, std_s=4e-5)
    assert (moved.time_s, moved.std_s, moved.slope_db_per_s) == pytest.approx((0.0098, 5e-5, -900.0))
