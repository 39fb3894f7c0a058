from dataclasses import replace

import numpy as np
import pytest
from timed_chapters import CARRIER_HZ, RATE_HZ, level_steps, takes
from true_bursts import true_burst

from charprobe.estimators.static.curve_fit import fit_static_curve
from charprobe.estimators.static.points import StaticPoint
from charprobe.estimators.timing.edge.settling import Settled
from charprobe.measuring.chapters.timing.chapter import timing_chapter
from charprobe.measuring.chapters.timing.rest import gain_at_rest, reduced_at_rest
from charprobe.measuring.chapters.timing.rows import measure_rows
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.values.quantity import Quantity, Unmeasured


def test_a_release_that_stops_short_of_the_gain_at_rest_is_a_bound():
    stage, (wet, bypass) = make_stage("smooth-gain-hard"), takes("smooth-gain-hard")
    agreeing = timing_chapter(wet, bypass, level_steps(stage))
    assert isinstance(agreeing.quantities["release.t90"].reading, Quantity)
    assert isinstance(agreeing.quantities["attack.t90"].reading, Quantity)
    assert not agreeing.health
    # to steps of 2 dB more gain the same traces are those of a stage with a slower recovery still to come
    short = timing_chapter(wet, bypass, level_steps(stage, low_off_db=2.0))
    release, attack = (short.quantities[f"{edge}.t90"].reading for edge in ("release", "attack"))
    assert isinstance(release, Unmeasured)
    assert release.at_least >= agreeing.quantities["release.t50"].reading.low
    assert isinstance(attack, Unmeasured)
    assert "below the gain at rest" in attack.reason
    (told,) = (item for item in short.health if item.code == "gap-too-short")
    assert "2 dB below the gain at rest" in told.message


REDUCED = {"low_dbfs": -10.0, "high_dbfs": -4.0, "lead_s": 0.12, "hold_s": 0.2, "release_s": 0.5}
WITHIN = (Bursts("within", CARRIER_HZ, 5, **REDUCED),)


def test_a_release_to_a_reduced_level_ends_where_bursts_come_to_it_from_both_sides(rng):
    stage, (wet, bypass) = make_stage("smooth-gain-hard"), takes("smooth-gain-hard", segments=WITHIN)
    steps = level_steps(stage)
    # level steps of another frequency, by 0.4 dB off where the bursts begin and hardly where they hold
    lifted = (
        replace(p, output_dbfs=p.output_dbfs + (0.4 if p.input_dbfs < -7 else 0.05)) for p in steps.points
    )
    (row,) = measure_rows(wet, bypass, fit_static_curve(tuple(lifted), axis_std_db=0.0))
    settles = REDUCED | {"release_s": 2.0}
    truth = true_burst(stage, carrier_hz=CARRIER_HZ, rate_hz=RATE_HZ, rng=rng, **settles)
    assert row.starts_short_db == 0
    assert row.release.t90.value == pytest.approx(truth.release.t90_s, rel=0.01)  # the goal
    assert row.release.t90.low <= truth.release.t90_s <= row.release.t90.high


def test_a_low_level_that_only_the_carrier_of_bursts_is_reduced_at_is_told_by_the_bursts(rng):
    stage, (wet, bypass) = make_stage("smooth-gain-hard"), takes("smooth-gain-hard", segments=WITHIN)
    # steps of a frequency that the detector hears 15 dB quieter: at -10 dBFS they are not reduced
    quieter = (
        replace(p, input_dbfs=p.input_dbfs + 15.0, output_dbfs=p.output_dbfs + 15.0)
        for p in level_steps(stage).points
    )
    static = fit_static_curve(tuple(quieter), axis_std_db=0.0)
    assert static.reduction_db_at(REDUCED["low_dbfs"]) < 0.1
    attack = measure_rows(wet, bypass, static)[0].attack_trace
    for left_db, rests in ((-0.1, True), (-5.0, False)):  # of 8 dB below the steps: nearly none, or most
        lead = Settled(-8.0, 0.0, left_db, True)
        assert reduced_at_rest(static, attack, lead=lead, held_db=-15.0, both_db=0.0) is rests
    (row,) = measure_rows(wet, bypass, static)
    truth = true_burst(
        stage, carrier_hz=CARRIER_HZ, rate_hz=RATE_HZ, rng=rng, **(REDUCED | {"release_s": 2.0})
    )
    assert row.release.t90.value == pytest.approx(truth.release.t90_s, rel=0.01)  # the goal
    assert row.release.t90.low <= truth.release.t90_s <= row.release.t90.high


def test_a_gain_that_has_not_come_back_is_no_reduced_rest(rng):
    stage = make_stage("slow-release")
    levels = {"low_dbfs": -40.0, "high_dbfs": -16.0, "lead_s": 0.07, "hold_s": 0.2}
    truth = true_burst(stage, carrier_hz=CARRIER_HZ, rate_hz=RATE_HZ, rng=rng, **levels, release_s=20.0)
    gap_s = 2.5 * truth.release.t63_s  # 8 % are left, and bursts before the set leave the first no more
    before = Bursts("before", CARRIER_HZ, 1, **levels, release_s=gap_s, gap_s=0.0)
    wet, bypass = takes(
        "slow-release", segments=(before, Bursts("short", CARRIER_HZ, 5, **levels, release_s=gap_s))
    )
    # steps of a frequency that the detector hears 4 dB quieter
    quieter = (
        replace(p, input_dbfs=p.input_dbfs + 4.0, output_dbfs=p.output_dbfs + 4.0)
        for p in level_steps(stage).points
    )
    row = measure_rows(wet, bypass, fit_static_curve(tuple(quieter), axis_std_db=0.0))[-1]
    assert row.release.t63.value == pytest.approx(truth.release.t63_s, rel=0.01)  # the goal


@pytest.mark.parametrize("bend", [0.0, 0.05, 0.1])
def test_a_gain_at_rest_on_a_bent_curve_is_known_to_what_a_chord_misses(bend):
    def gain_db(level):  # a gate whose slope grows all the way down
        return -bend * min(level + 20.0, 0.0) ** 2

    steps = [
        StaticPoint(level, level + gain_db(level), 5e-4, "rising", True, 0.0, 0.0)
        for level in np.arange(-59.0, -1.0, 3.0).tolist()
    ]
    curve = fit_static_curve(tuple(steps), axis_std_db=0.0)
    found = gain_at_rest(curve, from_dbfs=-39.5, to_dbfs=-5.0, held_db=0.0)
    assert found.low <= gain_db(-39.5) <= found.high
    # the second difference of steps of 3 dB is 18 * bend, and 0.05 dB stand beside an eighth of it
    assert found.std == pytest.approx(np.hypot(0.05, 9 * bend / 4), rel=0.01)


def test_a_low_level_that_is_lifted_rests_on_crests_as_a_reduced_one_does():
    wet, bypass = takes("upward-lift", segments=WITHIN)
    static = fit_static_curve(level_steps(make_stage("upward-lift")).points, axis_std_db=0.0)
    (row,) = measure_rows(wet, bypass, static)
    unlike = {"lead": Settled(0.0, 0.0, 0.0, True), "held_db": 0.0, "both_db": 0.0}
    for low_dbfs, works in ((-42.0, True), (-10.0, False)):
        low = replace(row.attack_trace, from_dbfs=low_dbfs)
        assert reduced_at_rest(static, low, **unlike) is works
