from dataclasses import replace

import numpy as np
import pytest
from held_truths import expected_inside
from static_curves import SIGMA_DB, curve_of, knee, soft

from charprobe.estimators.static.curve_fit import fit_static_curve
from charprobe.estimators.static.points import StaticPoint
from charprobe.estimators.static.readings import local_slopes, ratio_of, read_static_curve, rising_corners
from charprobe.values.quantity import Quantity, Unmeasured


def test_a_soft_knee_reads_as_its_closed_form(rng):
    curve = curve_of(soft, rng)
    read = read_static_curve(curve)
    truths = {
        read.threshold: -24.0,
        read.threshold_1db: -24.0 - 3.0 + np.sqrt(2 * 6 / 0.75),  # definitions 2.2: inside the knee
        read.slope: 0.25,
        read.ratio: 4.0,
        read.knee_width: 6.0,
        curve.low_level_gain: 4.0,
        read.max_reduction: 0.75 * (24 - 1.5),
    }
    for reading, truth in truths.items():
        assert isinstance(reading, Quantity)
        assert abs(reading.value - truth) < 4 * reading.std, reading
    assert read.slope.std < 0.001
    assert read.second is None
    assert read.lower is None


def test_intervals_hold_the_truth_as_often_as_they_say(rng, draws=30):
    held = np.zeros(5)
    for _ in range(draws):
        read = read_static_curve(curve_of(soft, rng))
        truths = (-24.0, -23.0, 0.25, 6.0, 0.75 * 22.5)
        found = (read.threshold, read.threshold_1db, read.slope, read.knee_width, read.max_reduction)
        held += [reading.low <= truth <= reading.high for reading, truth in zip(found, truths, strict=True)]
    assert np.all(held > expected_inside(draws)), held / draws


@pytest.mark.parametrize("apart_db", [0.4, 0.8, 1.2, 1.6, 2.0, 2.4])
def test_two_corners_within_one_step_are_inside_the_interval_of_the_1db_point(rng, apart_db):
    level = np.arange(-59.0, -1.0, 3.0)
    lower, slopes = -22.8, (0.4, 0.75)  # steps lie at -23 and -20 dBFS: none shows the bend between them

    def twice(at):
        first, second = (np.maximum(0.0, at - corner) for corner in (lower, lower + apart_db))
        return slopes[0] * first + (slopes[1] - slopes[0]) * second

    fine = np.linspace(-30.0, -10.0, 200_001)
    truth = float(np.interp(1.0, twice(fine), fine))
    found = read_static_curve(curve_of(twice, rng, sigma_db=2e-4, level=level)).threshold_1db
    assert found.low <= truth <= found.high
    assert found.high - found.low < 0.4  # steps of 3 dB leave no more than that


def test_a_bend_that_two_steps_show_is_known_at_its_1db_point(rng):
    level = np.arange(-59.0, -1.0, 3.0)
    found = read_static_curve(curve_of(soft, rng, sigma_db=2e-4, level=level + 0.5)).threshold_1db
    assert abs(found.value + 23.0) < 4 * found.std
    assert found.std < 0.002  # noise alone


def test_a_limiter_has_a_bound_for_a_ratio(rng):
    read = read_static_curve(curve_of(lambda level: knee(level + 20.2, 2.0), rng))
    assert isinstance(read.ratio, Unmeasured)
    assert read.ratio.at_least == pytest.approx(1 / max(read.slope.high, -read.slope.low))
    assert read.ratio.at_least > 500  # slope known to some 0.0003


def test_corners_above_which_the_gain_rises_are_told_beside_those_above_which_it_falls(rng):
    curve = curve_of(lambda level: knee(level + 20, 4.0) - knee(level + 45, 3.0) + knee(level + 38, 3.0), rng)
    ((corner_dbfs, slope),) = rising_corners(curve)
    assert corner_dbfs == pytest.approx(-45, abs=0.3) and slope == pytest.approx(1.0, abs=0.05)


def test_over_compression_has_a_slope_and_no_ratio(rng):
    read = read_static_curve(curve_of(lambda level: 1.2 * knee(level + 20.2, 4.0), rng))
    assert read.slope.value == pytest.approx(-0.2, abs=0.003)
    assert isinstance(read.ratio, Unmeasured)
    assert read.ratio.at_least is None


def test_a_ratio_interval_follows_from_the_slopes_ends():
    ratio = ratio_of(Quantity(0.1, 0.05, 0.15, "dB/dB"))
    assert (ratio.value, ratio.low, ratio.high) == pytest.approx((10, 1 / 0.15, 20))


def test_a_knee_that_is_still_bending_at_the_top_withholds_threshold_and_ratio(rng):
    read = read_static_curve(curve_of(lambda level: 0.75 * knee(level + 4.0, 12.0), rng))
    for reading in (read.threshold, read.slope, read.ratio, read.knee_width):
        assert isinstance(reading, Unmeasured)
        assert "still bending" in reading.reason
    slope_at_top = 1 - 0.75 * (4 - 1.5 + 6) / 12
    assert read.slope.at_most >= slope_at_top  # the slope only falls from there
    assert read.ratio.at_least <= 4
    # gain, and so the 1 dB point, is known all the same: -4 - 6 + sqrt(2 * 12 / 0.75)
    assert read.threshold_1db.value == pytest.approx(-10 + np.sqrt(32), abs=0.05)


def test_a_wire_has_no_threshold_and_says_how_far_it_was_driven(rng):
    curve = curve_of(lambda level: 0 * level, rng)
    read = read_static_curve(curve)
    assert isinstance(read.threshold, Unmeasured)
    assert read.threshold.at_least == pytest.approx(-1.5)
    assert isinstance(read.max_reduction, Unmeasured)
    assert read.max_reduction.at_most <= 0.05
    assert curve.reduction_db_at(-10.0) == pytest.approx(0, abs=4 * SIGMA_DB)


def test_a_stage_that_always_compresses_has_no_make_up(rng):
    curve = curve_of(lambda level: 0.5 * (level + 90), rng)
    read = read_static_curve(curve)
    assert read.slope.value == pytest.approx(0.5, abs=0.001)
    assert isinstance(curve.low_level_gain, Unmeasured)
    assert isinstance(read.threshold, Unmeasured)
    levels = sorted({round(point.input_dbfs, 1) for point in curve.points})
    assert read.threshold.at_most == pytest.approx(levels[1])  # the slope shows between the two lowest steps
    assert curve.reduction_db_at(-20) is None


def test_two_bends_and_an_expander_are_read_apart(rng):
    def reduction(level):
        low = 1.0 * knee(-48.0 - level, 2.0)
        return low + 0.5 * knee(level + 30.0, 4.0) + 0.4 * knee(level + 9.2, 1.0)

    read = read_static_curve(curve_of(reduction, rng))
    assert read.threshold.value == pytest.approx(-30, abs=0.05)
    assert read.slope.value == pytest.approx(0.5, abs=0.003)
    assert read.second.threshold.value == pytest.approx(-9.2, abs=0.05)
    assert read.second.slope.value == pytest.approx(0.1, abs=0.005)
    assert read.lower.threshold.value == pytest.approx(-48, abs=0.05)
    assert read.lower.slope.value == pytest.approx(2.0, abs=0.005)


def test_local_slopes_follow_the_curve(rng):
    levels, slopes, stds = local_slopes(curve_of(soft, rng))
    truth = 1 - (soft(levels + 1.5) - soft(levels - 1.5)) / 3
    # 38 levels are asked at once: one in 4000 draws has a score beyond 4.5
    assert np.all(np.abs(slopes - truth) < 4.5 * stds)


def test_a_second_bend_is_told_where_the_ratio_falls_again(rng):
    level = np.arange(-59.0, -1.9, 3.0)  # as coarse as a first look
    curve = curve_of(lambda x: 0.563 * knee(x + 25, 12) - 0.18 * knee(x + 9, 3), rng, level=level)
    read = read_static_curve(curve)
    assert read.slope.low <= 1 - 0.563 <= read.slope.high
    assert read.second.slope.low <= 1 - 0.563 + 0.18 <= read.second.slope.high
    assert read.second.threshold.value == pytest.approx(-9, abs=1)  # a knee of 3 dB between steps of 3 dB


@pytest.mark.parametrize("level", [np.arange(-59.0, -1.9, 3.0), np.arange(-60.0, -1.4, 1.5)])
def test_a_curve_that_is_straight_nowhere_has_no_slope(rng, level):
    read = read_static_curve(curve_of(lambda x: 6 * (1 + np.tanh((x + 20) / 12)), rng, level=level))
    assert isinstance(read.slope, Unmeasured) and isinstance(read.ratio, Unmeasured)
    assert "local slopes" in read.slope.next


def test_a_ratio_that_eases_a_little_has_an_interval_that_reaches_all_of_it(rng):
    def eased(x):
        return 0.75 * knee(x + 24, 6) - 0.002 * np.maximum(x + 16, 0) ** 2  # slope 0.25 to 0.31 at the top

    read = read_static_curve(curve_of(eased, rng, sigma_db=1e-4))
    assert read.slope.low <= 0.25
    # told as a bend of its own, or reached up to the chord of the two highest steps
    assert read.second is not None or read.slope.high >= 0.25 + 0.004 * 13.5


def test_where_no_step_above_had_settled_nothing_is_said_of_what_happens_there(rng):
    points = [
        replace(point, settled=False, std_db=5.0, remaining_db=1.0) if point.input_dbfs > -30 else point
        for point in curve_of(soft, rng).points
    ]
    curve = fit_static_curve(points, axis_std_db=0.0)
    read = read_static_curve(curve)
    assert curve.unknown_above and not curve.only_saturates
    assert read.max_reduction.at_least == 0.0
    for reading in (read.max_reduction, read.threshold, read.threshold_1db, read.slope):
        assert isinstance(reading, Unmeasured) and reading.cause == "short-steps"


@pytest.mark.parametrize(
    ("settled", "cause", "word"), [(True, "high-levels", "saturation"), (False, "short-steps", "settled")]
)
def test_too_few_steps_are_left_for_the_reason_that_took_the_others(rng, settled, cause, word):
    points = tuple(
        replace(point, settled=settled, saturated=settled, used=False) if point.input_dbfs > -56 else point
        for point in curve_of(soft, rng).points
    )
    curve = replace(curve_of(soft, rng), points=points, choice=None)
    for reading in (read_static_curve(curve).threshold, curve.low_level_gain, curve.gain_at(-20.0)):
        assert isinstance(reading, Unmeasured) and reading.cause == cause and word in reading.reason


def test_a_step_on_a_narrow_knee_is_no_part_of_the_straight_line_beyond_it(rng):
    level = np.arange(-60.0, -1.0, 1.0)
    slope = read_static_curve(
        curve_of(lambda x: 0.75 * knee(x + 20.0, 0.06), rng, sigma_db=1e-4, level=level)
    ).slope
    # least squares over 18 dB: 1e-4 dB and what recorders drift by between steps, 2e-4 dB
    assert slope.low < 0.25 < slope.high
    assert slope.high - slope.low < 1e-4


def test_a_gate_that_two_steps_cross_has_a_bound_for_its_threshold_and_no_slope(rng):
    level = np.arange(-59.0, -1.0, 3.0)  # a floor 14 dB down, reached 3.5 dB below the bend
    read = read_static_curve(
        curve_of(lambda x: 4.0 * (knee(-39.4 - x, 3.0) - knee(-42.9 - x, 0.0)), rng, level=level)
    )
    assert read.lower is not None
    for reading in (read.lower.threshold, read.lower.slope):
        assert isinstance(reading, Unmeasured)
    assert -39.4 < read.lower.threshold.at_most <= -35.0


@pytest.mark.parametrize("width_db", [0.0, 3.0, 6.0])
def test_where_no_step_shows_the_knee_the_1_db_threshold_reaches_over_all_there_may_be(rng, width_db):
    level, held = np.arange(-59.0, -1.0, 3.0), []
    for _ in range(20):
        threshold = -24 + rng.uniform(0, 3)
        points = [
            replace(point, settled=False, std_db=5.0, remaining_db=1.0)
            if -26 < point.input_dbfs < -12
            else point
            for point in curve_of(
                lambda x, at=threshold: 0.75 * knee(x - at, width_db), rng, level=level
            ).points
        ]
        fine = np.linspace(-30, -10, 200_001)
        truth = fine[np.argmax(0.75 * knee(fine - threshold, width_db) >= 1)]
        found = read_static_curve(fit_static_curve(points, axis_std_db=0.0)).threshold_1db
        held.append(found.low <= truth <= found.high)
    assert np.mean(held) >= 0.85  # binomial: 95 % less two standard deviations of 20 draws


def test_a_stage_that_compresses_then_gives_back_begins_where_its_gain_first_falls(rng):
    def law(x):
        return 0.97 * np.clip(x + 39, 0, 23) - 1.25 * np.maximum(0, x + 10)

    curve = curve_of(law, rng)
    read = read_static_curve(curve)
    assert isinstance(read.threshold, Quantity) and read.threshold.low < -39 < read.threshold.high
    assert isinstance(curve.low_level_gain, Quantity) and abs(curve.low_level_gain.value - 4.0) < 0.02
    assert [round(corner) for corner, _ in rising_corners(curve)] == [-10]


def test_two_ratios_with_no_threshold_in_reach_are_both_told(rng):
    read = read_static_curve(curve_of(lambda x: 0.5 * x + 0.3 * np.maximum(0, x + 35), rng))
    assert isinstance(read.threshold, Unmeasured) and read.threshold.at_most is not None
    assert isinstance(read.ratio, Quantity) and read.ratio.low < 2 < read.ratio.high
    assert read.second is not None and read.second.threshold.low < -35 < read.second.threshold.high
    assert read.second.slope.low < 0.2 < read.second.slope.high


def test_a_knee_of_another_shape_ends_where_steps_show_a_straight_part(rng):
    level = np.arange(-59.9, -2.0, 3.0)  # one of them lies between the two corners of this limiter

    def law(x):
        return 0.6 * np.maximum(0, x + 20) + 0.4 * np.maximum(0, x + 15)

    read = read_static_curve(curve_of(law, rng, sigma_db=2e-4, level=level))
    assert isinstance(read.threshold, Quantity)
    assert read.threshold.low < -(0.6 * 20 + 0.4 * 15) < read.threshold.high
    assert isinstance(read.ratio, Unmeasured) and read.ratio.at_least is not None and read.ratio.at_least > 50
    assert read.second is None and "no parabola" in read.knee_width.reason


def test_the_deepest_step_tells_the_reduction_where_the_curve_misses_it():
    levels = np.arange(-59.0, 0.0, 3.0)
    # a divider whose leg conducts by what stands over 0.04 at its output: no straight line, nowhere
    top, steep, sizes = 0.04, 12.0, 10 ** (levels / 20)
    free = 1 - steep * top
    held = (np.sqrt(free**2 + 4 * steep * sizes) - free) / (2 * steep)
    gains = 20 * np.log10(np.where(sizes > top, held / sizes, 1.0))
    rows = zip(levels.tolist(), gains.tolist(), strict=True)
    points = tuple(StaticPoint(x, x + g, 1e-4, "rising", True, 0.0, 0.0) for x, g in rows)
    read = read_static_curve(fit_static_curve(points, axis_std_db=0.0))
    assert read.max_reduction.low <= -gains[-1] <= read.max_reduction.high
    assert read.max_reduction.high - read.max_reduction.low < 0.01
