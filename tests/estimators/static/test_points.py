from dataclasses import replace

import numpy as np
import pytest

from charprobe.estimators.static.points import (
    StaticPoint,
    find_saturation,
    mark_points,
    still_recovering,
)

LEVEL = np.arange(-60.0, -1.0, 1.5)
PHASE = 2 * np.pi * np.arange(4096) / 4096


def shaped(shaper, level):
    """Fundamental gain in dB and third-harmonic share of a memoryless stage, by Fourier series."""
    amplitude = 10 ** (level / 20)
    spectrum = np.fft.rfft(shaper(amplitude * np.cos(PHASE))) / 2048
    return 20 * np.log10(abs(spectrum[1]) / amplitude), abs(spectrum[3]) / abs(spectrum[1])


def points(gain, share, levels=LEVEL, **changes):
    rows = zip(levels, gain, share, strict=True)
    made = {"std_db": 1e-4, "direction": "rising", "settled": True, "remaining_db": 0.0} | changes
    return [StaticPoint(x, x + g, odd_share=h, **made) for x, g, h in rows]


def through(shaper, before=lambda level: 0 * level, levels=LEVEL):
    """Points of a gain that depends on level, followed by a memoryless stage."""
    gain = before(levels)
    after = [shaped(shaper, level) for level in levels + gain]
    return points(gain + [g for g, _ in after], [h for _, h in after], levels)


def test_a_smooth_saturator_loses_its_gain_to_waveshaping():
    found = find_saturation(through(lambda x: np.tanh(0.8 * x) / 0.8))
    gain = {level: shaped(lambda x: np.tanh(0.8 * x) / 0.8, level)[0] for level in LEVEL}
    assert found is not None
    assert gain[found.seen_dbfs] < -0.02  # there the loss is seen
    assert gain[found.left_out_dbfs - 1.5] > -0.005  # and what is kept is flat


def test_a_gate_ahead_of_a_saturator_keeps_the_steps_where_it_opens():
    gate = through(
        lambda x: np.tanh(6 * x) / 6, before=lambda level: np.clip(2 * (level + 36), -12, 0)
    )  # from -42 to -36 dBFS, and its ripple makes a little third harmonic as it opens
    gate = [replace(p, odd_share=max(p.odd_share, 2e-3 if -42 < p.input_dbfs < -36 else 0)) for p in gate]
    found = find_saturation(gate)
    assert found is not None and found.left_out_dbfs >= -36
    assert {p.input_dbfs for p in mark_points(gate) if p.used} >= {x for x in LEVEL if x < -36}


def test_a_curve_that_steepens_takes_no_gain_and_is_no_saturation():
    steep = through(lambda x: x + 0.1 * x**3)
    assert find_saturation(steep) is None and all(p.used for p in mark_points(steep))


def test_saturation_is_found_alike_whatever_the_height_of_the_steps():
    # a cubic that loses 0.11 dB at the top: between steps of 1 dB its third harmonic grows by too little to tell
    found = [
        find_saturation(through(lambda x: x - 0.017 * x**3, levels=np.arange(-59.0, -1.0, height)))
        for height in (3.0, 1.0, 0.5)
    ]
    assert None not in found
    assert np.ptp([one.seen_dbfs for one in found]) <= 3.0


def test_clipping_above_a_compressor_is_told_from_compression():
    clipped = through(
        lambda x: np.clip(x, -0.05, 0.05), before=lambda level: -0.7 * np.maximum(level + 30, 0)
    )
    found = find_saturation(clipped)
    onset = (20 * np.log10(0.05) + 30) / 0.3 - 30  # input level at which the compressed tone reaches the clip
    assert found is not None
    assert onset <= found.left_out_dbfs <= onset + 3  # the first step above it may clip by too little to tell
    used = [p.input_dbfs for p in mark_points(clipped) if p.used]
    assert max(used) < onset + 1.5


def test_a_limiter_in_front_of_a_rounded_clip_loses_more_than_its_third_harmonic_explains():
    # the clip bends ever the same level by a little, whatever the limiter takes: 1 dB of 13
    limited = through(
        lambda x: x / (1 + np.abs(x / 0.25) ** 3) ** (1 / 3),
        before=lambda level: -0.95 * np.maximum(level + 16, 0),
    )
    assert max(p.odd_share for p in limited) > 0.02
    assert find_saturation(limited) is None
    assert find_saturation(through(lambda x: x / (1 + np.abs(x / 0.25) ** 3) ** (1 / 3))) is not None


@pytest.mark.parametrize("ripple", [0.0, 0.0005, 0.005])
def test_ripple_of_a_fast_compressor_is_not_saturation(ripple):
    # third harmonic of gain ripple comes with reduction and stays in proportion to the slope
    over = np.maximum(LEVEL + 24.3, 0)
    assert find_saturation(points(-0.75 * over, np.where(over > 0, ripple, 0.0))) is None


def test_an_unsettled_point_stands_in_only_where_no_settled_one_is():
    rising = points(0 * LEVEL, 0 * LEVEL, settled=False, std_db=0.05)
    falling = points(0 * LEVEL, 0 * LEVEL, direction="falling")
    assert [p.used for p in mark_points(rising + falling)] == [False] * 40 + [True] * 40
    assert all(p.used for p in mark_points(rising))
    vague = points(0 * LEVEL, 0 * LEVEL, settled=False, std_db=0.5)
    assert not any(p.used for p in mark_points(vague))


def two_passes(rising_gain):
    zero = np.zeros_like(LEVEL)
    return points(rising_gain, zero) + points(zero, zero, direction="falling")


def test_an_extrapolated_step_is_no_better_known_than_by_what_it_misses_a_surer_one_by():
    up, down, alone = points([-1.0, -1.2, -1.2], [0, 0, 0], [-10.0, -10.0, -13.0])
    down, alone = (
        replace(p, direction="falling", settled=False, remaining_db=0.5, std_db=0.05) for p in (down, alone)
    )
    marked = mark_points([up, down, alone])
    assert [p.std_db for p in marked] == pytest.approx([1e-4, 0.2, 0.05])
    near = replace(down, output_dbfs=-11.08)  # within two standard uncertainties
    assert mark_points([up, near, alone])[1].std_db == 0.05


def test_first_steps_on_their_way_back_from_what_was_played_before_are_left_out():
    recovery = -0.05 * np.exp(-0.4 / 0.6 * np.arange(LEVEL.size))
    given = two_passes(recovery)
    found = still_recovering(given)
    # the difference sinks below three standard uncertainties of 0.00044 dB after the sixth step
    assert list(found) == given[:6]
    assert [p.used for p in mark_points(given)] == [p not in found for p in given]


@pytest.mark.parametrize(("last_db", "used"), [(-0.05, False), (0.05, True), (-0.0005, True)])
def test_a_last_step_on_its_way_back_is_told_by_the_rising_one(last_db, used):
    # -0.2, then -0.05 left after steps of a third of the release; a gain beyond rest is no recovery
    rising = points([0.0, 0.0, 0.0], [0, 0, 0], levels=[-60.0, -57.0, -54.0])
    falling = points([-0.8, -0.2, last_db], [0, 0, 0], levels=[-54.0, -57.0, -60.0], direction="falling")
    falling = [
        replace(p, settled=left == 0, remaining_db=left)
        for p, left in zip(falling, (0.8, 0.2, 0.0), strict=True)
    ]
    marked = mark_points(rising + falling)
    assert [p.used for p in marked] == [True] * 3 + [False, False, used]


@pytest.mark.parametrize("from_level", [-60.0, -40.0])
def test_a_gain_that_depends_on_the_way_is_no_recovery(from_level):
    assert still_recovering(two_passes(np.where(from_level <= LEVEL, -0.05, 0.0))) == ()


def test_what_the_first_steps_were_on_their_way_to_is_not_known_where_they_did_not_settle_on_the_way_down():
    zero = np.zeros_like(LEVEL)
    gate = np.where(LEVEL < -47, -15.0, 0.0)
    rising, falling = points(gate, zero), points(np.where(LEVEL < -50, -15.0, 0.0), zero, direction="falling")
    falling = [replace(p, settled=p.input_dbfs > -50) for p in falling]
    assert still_recovering(rising + falling) == ()
