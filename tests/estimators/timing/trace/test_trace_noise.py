"""Noise of known size under a trend and a carrier that turns."""

import numpy as np
import pytest

from charprobe.estimators.timing.trace.trace_noise import far_points, point_noise, turning

PERIOD = 12.03
N = np.arange(4096)
TREND = 1 + 0.05 * np.linspace(-1, 1, N.size) ** 3


def turned(size):
    return size * np.cos(2 * np.pi * N / PERIOD + 0.3)


def test_neither_trend_nor_carrier_counts_as_noise(rng):
    gain = np.tile(TREND + turned(0.01), 2) + rng.normal(0, 1e-3, 2 * N.size)
    # 4096 points: 3 sigma are 3 / sqrt(8192)
    assert point_noise(gain, period=PERIOD) == pytest.approx(1e-3, rel=0.033)


def test_what_turns_once_a_period_is_read_with_its_amplitude_and_noise_alone_is_none(rng):
    noise = rng.normal(0, 1e-3, N.size)
    for size in (0.01, 0.0):
        found = turning(TREND + turned(size) + noise, period=PERIOD)
        assert found == pytest.approx(size, abs=3 * 1e-3 * np.sqrt(2 / N.size))


def test_the_far_points_of_a_side_lie_away_from_the_edge():
    np.testing.assert_array_equal(far_points(np.arange(9000.0)), np.arange(4096))
    assert far_points(np.arange(20.0)).size == 16
