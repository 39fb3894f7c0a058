import dataclasses

import numpy as np
from static_curves import curve_of, soft

from charprobe.estimators.static.readings import read_static_curve
from charprobe.values.quantity import DB_PER_NEPER, Unmeasured


def test_lookups_hold_the_closed_form_inside_the_range_and_refuse_outside(rng):
    curve = curve_of(soft, rng)
    for level in (-50.0, -26.3, -23.0, -10.1):
        found = curve.reduction_at(level)
        assert abs(found.value - soft(np.array(level))) < 4 * max(found.std, 1e-4)
    assert isinstance(curve.gain_at(6.0), Unmeasured)


def test_without_a_model_the_gain_is_still_known_between_the_steps(rng):
    curve = curve_of(lambda level: 3 + 3 * np.sin(level / 3.0), rng)
    read = read_static_curve(curve)
    assert curve.fit is None
    assert isinstance(read.threshold, Unmeasured)
    assert "misses the steps" in read.threshold.reason
    here = curve.gain_at(-20.0)
    assert here.low <= 4 - (3 + 3 * np.sin(-20 / 3)) <= here.high


def test_levels_between_tenths_of_a_decibel_are_where_they_are(rng):
    # a path of -0.05 dB puts every level half a tenth off: read at the tenth, 4:1 would miss it by 0.04 dB
    levels = np.arange(-50.05, -1.0, 1.0)
    curve = curve_of(soft, rng, sigma_db=1e-4, level=levels)
    np.testing.assert_allclose(curve.means[0], levels, atol=1e-9)
    assert curve.missed_db(-10.05) < 1e-3


def test_the_floor_of_a_gate_is_not_taken_for_the_gain_where_nothing_is_reduced(rng):
    def gated(level):  # no lines and knees hold where it is open
        return np.where(level < -40, 14.0, np.sin(level / 2.5))

    low = curve_of(gated, rng).low_level_gain
    assert isinstance(low, Unmeasured)
    assert "floor" in low.reason


def test_a_gain_that_moves_bends_no_waves_and_a_curve_without_memory_does(rng):
    moving = curve_of(soft, rng)
    assert not moving.bends_waves  # its odd share is that of a clean tone
    lost_db = max(point.gain_db for point in moving.points) - min(point.gain_db for point in moving.points)
    share = lost_db / DB_PER_NEPER / 3  # of a cubic: it takes three times from the fundamental what it makes
    points = [dataclasses.replace(point, odd_share=share) for point in moving.points]
    assert dataclasses.replace(moving, points=tuple(points)).bends_waves


def test_a_gain_at_rest_is_not_doubted_for_what_the_curve_misses_above(rng):
    curve = curve_of(lambda level: soft(level) + 0.02 * np.sin(2 * level) * (level > -15), rng)
    assert curve.fit is not None and curve.fit.dispersion > 2
    found = curve.low_level_gain
    assert found.low <= 4 <= found.high and found.std < curve.fit.covariance[0, 0] ** 0.5 / 2


def test_what_may_go_past_the_stage_unreduced_is_in_the_interval_of_every_slope(rng):
    share = 10 ** (-65 / 20)

    def leaking(level):  # the copy arrives in phase, beside a sound that the stage reduces
        return DB_PER_NEPER * np.log(10 ** (soft(level) / 20) + share)

    truth = read_static_curve(curve_of(soft, rng, sigma_db=1e-4)).slope.value
    curve = curve_of(leaking, rng, sigma_db=1e-4)
    plain, beside = (read_static_curve(each).slope for each in (curve, curve.beside(share)))
    assert not plain.low <= truth <= plain.high
    assert beside.low <= truth <= beside.high
    assert beside.value == plain.value
    off = [b.std_db - a.std_db for a, b in zip(curve.points, curve.beside(share).points, strict=True)]
    assert off[0] < 1e-6 < max(off)  # what is not reduced is as well known as before
