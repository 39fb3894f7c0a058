"""Means over carrier periods leave nothing of the carrier, and all of a smooth movement."""

import numpy as np

from charprobe.estimators.timing.trace.carrier_means import CALM_PERIODS, calmed, half_period_means

PERIOD = 12.03
GRID = np.arange(-600.0, 600.0)


def test_half_period_means_cancel_what_turns_with_the_carrier():
    turning = np.cos(2 * np.pi * GRID / PERIOD + 0.4)
    where = np.abs(GRID) > 50
    rows = half_period_means(np.stack([GRID, turning]), period=PERIOD, where=where)
    inside = where & (np.abs(GRID) < 590)
    # a chord of a cosine over one sample is off by (pi / 12)**2 / 2 at most, 3.4 %, the same at both ends of it
    assert np.abs(rows[1, inside]).max() < 0.035
    np.testing.assert_array_equal(rows[1, ~where], turning[~where])


def test_calm_points_lose_every_multiple_of_the_carrier_and_keep_a_cubic():
    x = GRID / 600
    smooth = 1 + 0.3 * x - 0.2 * x**2 + 0.1 * x**3
    carrier = sum(0.1 * np.cos(2 * np.pi * n * GRID / PERIOD + n) for n in (1, 2))
    rows = calmed(np.stack([GRID, GRID, smooth + carrier, 0 * GRID]), period=PERIOD, ahead=0.0)
    kept = np.isin(GRID, rows[0])
    calm = np.abs(rows[0]) >= (CALM_PERIODS + 1) * PERIOD
    calm &= np.abs(rows[0]) < 600 - 3 * PERIOD
    assert np.abs(rows[2] - smooth[kept])[calm].max() < 2e-4  # the ends of a period lie between samples
    near = np.abs(rows[0]) < (CALM_PERIODS - 1) * PERIOD
    np.testing.assert_array_equal(rows[2][near], (smooth + carrier)[kept][near])
