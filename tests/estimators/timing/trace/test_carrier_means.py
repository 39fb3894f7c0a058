"""Means over carrier periods leave nothing of the carrier, and all of a smooth movement."""

import numpy as np

from charprobe.estimators.timing.trace.carrier_means import calm_sums, calmed, half_period_means, reach_of

PERIOD = 12.03
REACH = reach_of(PERIOD)
GRID = np.arange(-600.0, 600.0)


def test_half_period_means_cancel_what_turns_with_the_carrier():
    turning = np.cos(2 * np.pi * GRID / PERIOD + 0.4)
    means = half_period_means(turning[None], 600, near=slice(10, 1190), period=PERIOD)[0]
    beside = np.abs(GRID[10:1190] + 0.5) < PERIOD / 4 + 1  # a mean does not reach across the edge
    # a chord of a cosine over one sample is off by (pi / 12)**2 / 2 at most, 3.4 %, the same at both ends of it
    assert np.abs(means[~beside]).max() < 0.035
    np.testing.assert_array_equal(means[[589, 590]], turning[[599, 600]])


def test_calm_points_lose_every_multiple_of_the_carrier_and_keep_a_cubic():
    x = GRID / 600
    smooth = 1 + 0.3 * x - 0.2 * x**2 + 0.1 * x**3
    carrier = sum(0.1 * np.cos(2 * np.pi * n * GRID / PERIOD + n) for n in (1, 2))
    points = calmed((smooth + carrier)[None], period=PERIOD)[0]
    assert np.abs(points - smooth[REACH:-REACH]).max() < 2e-4  # the ends of a period lie between samples


def test_sums_between_borders_are_those_of_the_calm_points_whatever_the_sound(rng):
    rows = rng.normal(size=(2, 1200))
    borders = np.array([REACH, 100, 103, 500, 1200 - REACH])
    points = np.add.reduceat(calmed(rows, period=PERIOD), borders[:-1] - REACH, axis=1)
    np.testing.assert_allclose(calm_sums(rows, borders, period=PERIOD), points, rtol=0, atol=1e-11)
    assert calm_sums(rows, borders[:1], period=PERIOD).size == 0
