import dataclasses
import math

import pytest
from designs import bursts_in, profile_with

from charprobe.measuring.chapters.colour.ripple import REFERENCE_DBFS
from charprobe.profile.entry import Health, Table
from charprobe.stimulus.design import design_stimulus
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Tones
from charprobe.stimulus.recipe import load_recipe, recipe_from_table
from charprobe.stimulus.render import lay_out
from charprobe.values.quantity import Z95, Quantity, Unmeasured


def test_the_first_burst_is_played_again_and_others_bring_out_other_reductions():
    profile = profile_with(static__low_level_gain=Quantity.from_std(0.0, 0.01, "dB"))
    reference, *others = bursts_in(design_stimulus(profile, longest_s=600))
    first = profile.curves["timing"].columns
    assert reference.reference
    assert (reference.low_dbfs, reference.high_dbfs) == (first["from_dbfs"][0], first["to_dbfs"][0])
    reductions = [0.75 * (spec.high_dbfs + 22) for spec in others]
    assert reductions == pytest.approx(
        [3, 15.4], abs=0.4
    )  # levels are rounded to half a dB; 10 is the first's


def test_a_first_burst_that_begins_within_the_reduction_gives_way_to_one_from_rest():
    reference = bursts_in(design_stimulus(profile_with(static__threshold=at(-45.0)), longest_s=600))[0]
    assert reference.low_dbfs < -45 - 3  # below the knee, half of it under the threshold


def test_a_path_with_gain_is_allowed_for():
    # the input axis says -40 to -5 dBFS plus the gain; the recipe is known, so what was played is known too
    played, softer = (bursts_in(design_stimulus(_quick(axis), longest_s=600))[0] for axis in (0.0, -6.0))
    assert (played.low_dbfs, played.high_dbfs) == (softer.low_dbfs, softer.high_dbfs) == (-40.0, -5.0)


def test_a_level_step_lies_on_the_threshold_so_that_a_hard_knee_is_told():
    steps = _steps(design_stimulus(profile_with(static__threshold=at(-21.3)), longest_s=600))
    assert min(abs(level + 21.3) for level in steps.levels_dbfs) < 0.006


def test_steps_rise_alone_where_falling_ones_would_wait_too_long():
    slow = profile_with(release__t90=Quantity.from_std(9.0, 0.1, "s"))
    design = design_stimulus(slow, longest_s=300)
    assert not _steps(design).falling
    fast = profile_with(release__t90=Quantity.from_std(0.05, 1e-4, "s"))
    assert _steps(design_stimulus(fast, longest_s=300)).falling
    assert any("only rise" in reason for reason in design.reasons)


def test_a_stage_that_nothing_changes_gets_no_bursts_and_is_told_so():
    none = Unmeasured("dBFS", "any", "any", at_least=-2.0, cause="low-levels")
    unreduced = Unmeasured("dB", "any", "any", at_most=0.05)
    profile = profile_with(
        static__threshold=none, static__threshold_1db=none, static__max_reduction=unreduced
    )
    timing = profile.curves["timing"]
    rested = dataclasses.replace(timing, columns=timing.columns | {"reduction_db": [0.0]})
    design = design_stimulus(
        dataclasses.replace(profile, curves={**profile.curves, "timing": rested}), longest_s=300
    )
    assert not bursts_in(design)
    assert any("nothing to time" in reason for reason in design.reasons)


def test_bursts_start_no_louder_than_the_gain_at_rest_leaves_room_for():
    profile = profile_with(static__low_level_gain=Quantity.from_std(6.0, 0.01, "dB"))
    assert all(spec.high_dbfs + 6.0 <= -1.0 for spec in bursts_in(design_stimulus(profile, longest_s=600)))


def test_phases_then_steps_are_given_up_to_keep_to_the_time():
    slow = profile_with(release__t90=Quantity.from_std(2.0, 0.01, "s"))
    long, short = design_stimulus(slow, longest_s=900), design_stimulus(slow, longest_s=150)
    assert short.duration_s <= 150 < long.duration_s
    assert bursts_in(short)[0].phases < bursts_in(long)[0].phases


def test_a_take_that_cannot_be_short_says_so():
    slow = profile_with(release__t90=Quantity.from_std(12.0, 0.1, "s"))
    design = design_stimulus(slow, longest_s=60)
    assert design.duration_s > 60
    assert any("more than 60 s" in reason for reason in design.reasons)


def test_the_recipe_is_valid_and_as_long_as_stated():
    design = design_stimulus(profile_with(), longest_s=300)
    again = recipe_from_table(design.recipe.to_dict(), source="again")
    assert again == design.recipe
    assert lay_out(again, rate_hz=48_000, take=0).duration_s == design.duration_s


def test_harmonics_are_told_at_the_level_of_the_first_take():
    design = design_stimulus(profile_with(), longest_s=300)
    (tones,) = (spec for spec in design.recipe.segments if isinstance(spec, Tones))
    assert REFERENCE_DBFS in tones.levels_dbfs
    assert (
        REFERENCE_DBFS
        in next(spec for spec in load_recipe("quick").segments if isinstance(spec, Tones)).levels_dbfs
    )


def test_without_a_threshold_the_guess_is_told():
    nothing = Unmeasured("dBFS", "no bend", "drive harder")
    unknown = profile_with(static__threshold=nothing, static__threshold_1db=nothing)
    design = design_stimulus(unknown, longest_s=300)
    assert any("not known" in reason for reason in design.reasons)


def test_a_threshold_near_the_highest_step_is_met_by_bursts_up_to_full_scale():
    nothing = Unmeasured("dBFS", "no bend", "drive harder", cause="low-levels")
    barely = Quantity.from_std(0.6, 0.001, "dB")
    profile = profile_with(
        static__threshold=nothing, static__threshold_1db=nothing, static__max_reduction=barely,
        static__low_level_gain=Quantity.from_std(0.0, 0.01, "dB"),
    )  # fmt: skip
    timing = profile.curves["timing"]
    rested = dataclasses.replace(timing, columns=timing.columns | {"reduction_db": [0.0]})
    curves = {**profile.curves, "timing": rested}
    reference = bursts_in(design_stimulus(dataclasses.replace(profile, curves=curves), longest_s=300))[0]
    assert reference.high_dbfs == -1.5


def test_each_cause_of_a_missing_number_has_its_cure():
    def missing(unit, cause):
        return Unmeasured(unit, "any words at all", "any", cause=cause)

    plain = design_stimulus(profile_with(), longest_s=300)
    cured = design_stimulus(
        profile_with(
            static__threshold=missing("dBFS", "high-levels"),
            attack__t63=missing("s", "coarse-carrier"),
            colour__onset=missing("dBFS", "short-steps"),
            static__slope=missing("dB/dB", "low-levels"),
        ),
        longest_s=300,
    )
    was, now = ({spec.name: spec for spec in design.recipe.segments} for design in (plain, cured))
    assert now["steps"].from_dbfs < was["steps"].from_dbfs
    assert now["reference"].carrier_hz == was["reference"].carrier_hz  # every sample tells the gain already
    assert "harmonics" in now
    told = " ".join(cured.reasons)
    assert "192000 Hz (--rate) resolves faster edges, for attack.t63" in told
    assert all(name in told for name in ("static.threshold", "attack.t63", "colour.onset"))
    assert "raise the gain before the stage, for static.slope" in told  # the first steps ended near the top


def test_expected_intervals_follow_the_formula():
    # a first number so unsure that longer gaps end its doubt leaves the formula alone
    profile = profile_with(
        noise__unweighted=Quantity.from_std(-80.0, 0.1, "dBFS"),
        release__t90=Unmeasured("s", "any", "any", at_least=0.115, cause="short-gaps"),
        release__t63=Quantity.from_std(0.2, 0.01, "s"),
        static__low_level_gain=Quantity.from_std(0.0, 0.01, "dB"),
    )
    profile = dataclasses.replace(
        profile, curves={k: v for k, v in profile.curves.items() if k != "gain_trace"}
    )
    design = design_stimulus(profile, longest_s=600)
    row = next(e for e in design.expected if e.name == "release.t63")
    spec = bursts_in(design)[0]
    tau = 4 * 0.115 / math.log(10)
    sigma_db = 20 / math.log(10) * 10 ** ((-80 - spec.low_dbfs) / 20) / math.sqrt(spec.phases)
    change = profile.curves["timing"].columns["reduction_db"][0]
    std = 5.1 * tau * sigma_db / change / math.sqrt(tau * 48_000)
    zero = math.hypot(0.015, 12**-0.5 / math.sqrt(spec.phases)) / 48_000
    # scatter is not known where the first release had not ended: three parts in 10,000 between nine phases
    assert spec.phases == 9
    assert row.then == pytest.approx(Z95 * math.hypot(std, zero, 1e-4 * tau, 3e-4 * 0.2), rel=1e-3)
    assert any("no interval is foretold for release.t90" in reason for reason in design.reasons)


def test_steps_that_had_not_settled_on_the_way_up_are_made_as_long_as_they_need():
    profile = profile_with()
    table, tau_s = profile.curves["static"], 0.2
    count = len(table.columns["settled"])
    # what a step of 0.2 s at 4:1 leaves of 2.25 dB by one pole, counted from the mean of its second half
    left = -2.25 * (math.exp(-0.1 / tau_s) - math.exp(-0.2 / tau_s)) * tau_s / 0.1
    moving = dataclasses.replace(
        table, columns=table.columns | {"settled": [False] * count, "remaining_db": [left] * count},
        units=table.units | {"remaining_db": "dB"},
    )  # fmt: skip
    design = design_stimulus(
        dataclasses.replace(profile, curves={**profile.curves, "static": moving}), longest_s=900
    )
    # of one pole 6.6 time constants leave 0.003 dB by the middle of a step; three times that for a slower part
    assert _steps(design).step_s == pytest.approx(3 * 2 * tau_s * math.log(2.25 / 0.003), rel=0.25)


def test_a_gate_is_swept_open_and_its_bursts_reach_below_its_threshold():
    none = Unmeasured("dBFS", "any", "any", cause="low-levels")
    gate = profile_with(static__threshold=none, static__threshold_1db=none, static__lower_threshold=at(-50.0))
    timing = gate.curves["timing"]
    shut = dataclasses.replace(timing, columns=timing.columns | {"reduction_db": [0.0]})
    design = design_stimulus(dataclasses.replace(gate, curves={**gate.curves, "timing": shut}), longest_s=360)
    sweep = next(spec for spec in design.recipe.segments if spec.kind == "sweep")
    assert sweep.level_dbfs > -48
    assert bursts_in(design)[0].low_dbfs < -54
    assert design.gains


def test_scatter_of_attacks_shrinks_as_the_fourth_roots_of_students_factor_and_of_the_phases_do():
    row, phases = _foretold("attack.t63", attack__t63=Quantity.from_std(0.005, 2e-4, "s"))
    # tables: Student's 97.5 % quantiles of 2 and 6 degrees of freedom
    assert phases == 9
    assert row.then / row.now == pytest.approx((2.4469 / 4.3027 * 5 / 9) ** 0.25, rel=0.02)


def test_doubt_about_where_a_release_ends_goes_with_longer_gaps_and_scatter_stays():
    # the first take waited for 2.2 t90: a level 0.1 % off moves t63 by e and t90 by 10 thousandths of tau
    off = {name: Quantity.from_std(value, by * 1.2e-4, "s") for name, value, by in
           (("release__t63", 0.12, math.e), ("release__t90", 0.276, 10.0))}  # fmt: skip
    row, _ = _foretold("release.t63", **off)
    assert row.then < 0.3 * row.now
    alike = {name: Quantity.from_std(value, 3e-4, "s") for name, value in
             (("release__t63", 0.12), ("release__t90", 0.276))}  # fmt: skip
    row, _ = _foretold("release.t63", **alike)
    assert row.then > 0.5 * row.now


def test_an_attack_that_runs_past_its_gain_is_held_until_it_has_come_back():
    release = Quantity.from_std(0.4, 1e-3, "s")
    past = profile_with(release__t90=release, attack__overshoot=Quantity.from_std(2.0, 0.1, "dB"))
    plain, held = (
        bursts_in(design_stimulus(one, longest_s=600))[0].hold_s
        for one in (profile_with(release__t90=release), past)
    )
    assert plain < 2.7 * 0.4 < held  # six time constants of its release


def test_what_an_attack_scatters_by_stays_where_it_is_only_held_until_it_has_come_back():
    known = {
        "attack__t63": Quantity.from_std(0.005, 2e-4, "s"),
        "release__t90": Quantity.from_std(0.25, 1e-4, "s"),
    }
    plain, _ = _foretold("attack.t63", **known)
    past, _ = _foretold("attack.t63", attack__overshoot=Quantity.from_std(0.5, 0.01, "dB"), **known)
    assert past.then == plain.then


def test_times_of_a_burst_that_was_not_played_are_not_foretold():
    known = {
        "attack__t63": Quantity.from_std(0.005, 1e-5, "s"),
        "noise__unweighted": Quantity.from_std(-100.0, 0.1, "dBFS"),
    }
    loud = {"static__low_level_gain": Quantity.from_std(18.0, 0.01, "dB")}  # its burst must end lower
    told = [
        {row.name for row in design_stimulus(profile_with(**known, **gain), longest_s=600).expected}
        for gain in ({}, loud)
    ]
    assert ["attack.t63" in names for names in told] == [True, False]


def test_where_first_steps_were_carried_on_longer_ones_end_the_doubt():
    unsure = {
        "static__threshold": Quantity.from_std(-22.0, 0.04, "dBFS"),
        "static__slope": Quantity.from_std(0.25, 1e-3, "dB/dB"),
        "static__ratio": Quantity.from_std(4.0, 1.6e-2, ":1"),
        "static__low_level_gain": Quantity.from_std(0.0, 3e-4, "dB"),
        "noise__unweighted": Quantity.from_std(-100.0, 0.1, "dBFS"),
    }
    profile = profile_with(**unsure)
    static = profile.curves["static"]
    steps = len(static.columns["gain_db"])
    carried = {"settled": [False] * steps, "remaining_db": [1e-3] * steps}
    table = Table(static.columns | carried, {**static.units, "remaining_db": "dB"})
    curves = {**profile.curves, "static": table}
    design = design_stimulus(dataclasses.replace(profile, curves=curves), longest_s=600)
    told = {row.name: row for row in design.expected}
    assert _steps(design).step_s >= 2 * 0.2  # twice what the first take is taken to have played
    assert told["static.threshold"].then < 0.1 * told["static.threshold"].now
    ratio, slope = told["static.ratio"], told["static.slope"]
    assert ratio.then == pytest.approx(slope.then / 0.25**2, rel=0.01)  # to first order


def test_a_curve_doubted_for_its_shape_is_not_foretold():
    quiet = {
        "noise__unweighted": Quantity.from_std(-100.0, 0.1, "dBFS"),
        "static__low_level_gain": Quantity.from_std(0.0, 3e-4, "dB"),
        "static__threshold": Quantity.from_std(-22.0, 1e-3, "dBFS"),
        "static__slope": Quantity.from_std(0.25, 1e-4, "dB/dB"),
    }
    # steps of 3 dB known to a thousandth tell a knee of 6 dB to a few thousandths
    told = [
        {
            row.name
            for row in design_stimulus(profile_with(**quiet, static__knee_width=knee), longest_s=600).expected
        }
        for knee in (Quantity.from_std(6.0, 5e-3, "dB"), Quantity.from_std(6.0, 0.5, "dB"))
    ]
    assert "static.threshold" in told[0] and "static.threshold" not in told[1]
    assert "static.makeup_gain" in told[0] & told[1]


def test_an_attack_blamed_on_short_gaps_is_foretold_by_what_most_stages_scatter():
    known = {
        "attack__t63": Quantity.from_std(0.005, 2e-4, "s"),
        "release__t90": Quantity.from_std(0.15, 1e-4, "s"),
    }
    free, _ = _foretold("attack.t63", **known)
    blamed, _ = _foretold("attack.t63", health=(Health("gap-too-short", "warn", "any"),), **known)
    assert blamed.then < 0.2 * free.then


def _foretold(name, *, health=(), **readings):
    """What a design foretells of a time, and its phases, where noise plays no part."""
    quiet = {
        "noise__unweighted": Quantity.from_std(-130.0, 0.1, "dBFS"),
        "static__low_level_gain": Quantity.from_std(0.0, 0.01, "dB"),
    }
    profile = dataclasses.replace(profile_with(**quiet, **readings), health=health)
    design = design_stimulus(profile, longest_s=600)
    return next(row for row in design.expected if row.name == name), bursts_in(design)[0].phases


def at(value, unit="dBFS"):
    return Quantity(value, value, value, unit)


def _steps(design):
    return next(spec for spec in design.recipe.segments if isinstance(spec, LevelSteps))


def _quick(axis_db):
    """A profile of the shipped `quick`, taken through a path of so much gain."""
    profile = profile_with(static__threshold=at(-22.0 + axis_db))
    timing = profile.curves["timing"]
    levels = {"from_dbfs": [-40.0 + axis_db], "to_dbfs": [-5.0 + axis_db]}
    curves = {**profile.curves, "timing": dataclasses.replace(timing, columns=timing.columns | levels)}
    stimulus = dataclasses.replace(profile.stimulus, hash=load_recipe("quick").hash)
    return dataclasses.replace(profile, stimulus=stimulus, curves=curves)
