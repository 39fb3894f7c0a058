import dataclasses
import math

import numpy as np
import pytest
from made_profiles import Setting, made_profile

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise
from charprobe.profile.entry import Entry, Table
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.design import design_stimulus
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Silence
from charprobe.stimulus.recipe import Recipe, recipe_from_table
from charprobe.stimulus.render import lay_out, render
from charprobe.values.quantity import Z95, Quantity, Unmeasured

FIRST = Recipe(
    "first",
    "what a design asks of a first profile: noise, a static curve, and times",
    (
        Silence("idle", 1.5, tone_s=1.0),
        LevelSteps("steps", 997.0, -50.0, -2.0, 3.0, 0.25, True, gap_s=1.0),
        Bursts("reference", 3989.0, 5, -40.0, -4.0, 0.15, 0.3, 0.6, reference=True),
    ),
)


def profile_with(**readings):
    profile = made_profile(Setting("a", threshold_dbfs=-22.0, ratio=4.0, knee_db=6.0, release_s=0.12))
    entries = dict(profile.quantities)
    for name, reading in readings.items():
        entries[name.replace("__", ".")] = Entry(reading, "" if isinstance(reading, Unmeasured) else "test")
    return dataclasses.replace(profile, quantities=entries)


def bursts_in(design):
    return [spec for spec in design.recipe.segments if isinstance(spec, Bursts)]


def test_steps_lie_around_the_threshold_and_bring_out_the_reductions():
    profile = profile_with(static__low_level_gain=Quantity.from_std(0.0, 0.01, "dB"))
    steps = bursts_in(design_stimulus(profile, longest_s=600))
    assert len(steps) == 3
    assert all(spec.low_dbfs < -22 - 3 for spec in steps)  # below the knee, half of it under the threshold
    reductions = [0.75 * (spec.high_dbfs + 22) for spec in steps]
    assert reductions == pytest.approx([3, 10, 15.4], abs=0.4)  # levels are rounded to half a dB
    assert [spec.reference for spec in steps] == [False, False, True]


def test_bursts_start_no_louder_than_the_gain_at_rest_leaves_room_for():
    profile = profile_with(static__low_level_gain=Quantity.from_std(6.0, 0.01, "dB"))
    assert all(spec.high_dbfs + 6.0 <= -1.0 for spec in bursts_in(design_stimulus(profile, longest_s=600)))


def test_gaps_are_six_time_constants_of_the_measured_release():
    t90 = 0.9
    design = design_stimulus(profile_with(release__t90=Quantity.from_std(t90, 0.001, "s")), longest_s=600)
    for spec in bursts_in(design):
        assert spec.release_s >= 6 * t90 / math.log(10)


def test_a_release_known_only_as_a_bound_gets_four_times_the_gap():
    bound = Unmeasured("s", "unfinished", "longer", at_least=1.5)
    design = design_stimulus(profile_with(release__t90=bound), longest_s=900)
    assert bursts_in(design)[0].release_s >= 6 * 4 * 1.5 / math.log(10)
    assert any("at least 1.5 s" in reason for reason in design.reasons)


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


def test_without_a_threshold_the_guess_is_told():
    nothing = Unmeasured("dBFS", "no bend", "drive harder")
    design = design_stimulus(profile_with(static__threshold=nothing), longest_s=300)
    assert any("not known" in reason for reason in design.reasons)


def test_each_cause_of_a_missing_number_has_its_cure():
    def missing(unit, cause):
        return Unmeasured(unit, "any words at all", "any", cause=cause)

    plain = design_stimulus(profile_with(), longest_s=300)
    cured = design_stimulus(
        profile_with(
            static__threshold=missing("dBFS", "high-levels"),
            attack__t63=missing("s", "coarse-carrier"),
            colour__onset=missing("dBFS", "short-steps"),
        ),
        longest_s=300,
    )
    was, now = ({spec.name: spec for spec in design.recipe.segments} for design in (plain, cured))
    assert now["steps"].from_dbfs < was["steps"].from_dbfs
    assert now["reference"].carrier_hz > was["reference"].carrier_hz
    assert "harmonics" in now and "harmonics" not in was
    told = " ".join(cured.reasons)
    assert all(name in told for name in ("static.threshold", "attack.t63", "colour.onset"))


@pytest.mark.parametrize("tau_s", [0.4, 1.5])
def test_the_end_of_an_unfinished_release_foretells_its_rest(tau_s):
    profile = profile_with(release__t90=Unmeasured("s", "any words", "any", at_least=0.6, cause="short-gaps"))
    time_s = np.concatenate([np.linspace(-0.1, -0.01, 10), np.geomspace(0.001, 0.6, 60)])
    gain_db = np.where(time_s < 0, -12.0, -12 * np.exp(-time_s / tau_s))
    trace = Table(
        {"step": [0] * 70, "edge": ["release"] * 70, "time_s": time_s.tolist(), "gain_db": gain_db.tolist(),
         "std_db": [0.001] * 70},
        {"step": "", "edge": "", "time_s": "s", "gain_db": "dB", "std_db": "dB"},
    )  # fmt: skip
    profile = dataclasses.replace(profile, curves={**profile.curves, "gain_trace": trace})
    rest = dict(profile.quantities) | {"static.low_level_gain": Entry(Quantity.from_std(0.0, 1e-3, "dB"), "")}
    spec = bursts_in(design_stimulus(dataclasses.replace(profile, quantities=rest), longest_s=900))[0]
    # at rest means 0.02 dB of 12 dB left; not much longer either
    assert tau_s * np.log(12 / 0.02) <= spec.release_s <= 1.5 * tau_s * np.log(12 / 0.02)


def test_expected_intervals_follow_the_formula():
    profile = profile_with(
        noise__unweighted=Quantity.from_std(-80.0, 0.1, "dBFS"),
        release__t90=Quantity(0.4605, 0.4605, 0.4605, "s"),
        release__t63=Quantity(0.2, 0.2, 0.2, "s"),
        static__low_level_gain=Quantity.from_std(0.0, 0.01, "dB"),
        static__slope=Quantity.from_std(0.25, 0.001, "dB/dB"),
        static__threshold=Quantity.from_std(-22.0, 0.01, "dBFS"),
    )
    design = design_stimulus(profile, longest_s=600)
    row = next(e for e in design.expected if e.name == "release.t63")
    spec = bursts_in(design)[-1]
    tau = 0.4605 / math.log(10)
    sigma_db = 20 / math.log(10) * 10 ** ((-80 - spec.low_dbfs) / 20) / math.sqrt(spec.phases)
    std = 5.1 * tau * sigma_db / (0.75 * (spec.high_dbfs + 22)) / math.sqrt(tau * 48_000)
    assert row.then == pytest.approx(1.96 * math.hypot(std, 0.015 / 48_000, 1e-4 * tau), rel=1e-3)


def measured(recipe, *, noise_dbfs, take):
    """The profile of a smoothed 4:1 stage behind the rig, from one play of a recipe."""
    rng, stimulus = np.random.default_rng(take), lay_out(recipe, rate_hz=48_000, take=take)
    sound, captures = render(stimulus), []
    for name, delay in (("smooth-gain-hard", 37.4), ("plain-wire", 25.8)):
        out = make_stage(name).process(sound, rate_hz=48_000, rng=rng).samples
        rig = Rig(delay_samples=delay, drift_ppm=23.0, noise_dbfs=noise_dbfs, bits=24, lead_s=0.2, tail_s=0.2)
        recorded = rig.record(out, rate_hz=48_000, rng=rng)
        captures.append(MemoryCapture(recorded, rate_hz=48_000, name=name))
    return characterise(captures[0], stimulus, channel=1, setting="s", bypass=captures[1])


@pytest.mark.parametrize("noise_dbfs", [-110.0, -90.0])
def test_what_is_expected_is_what_comes_out(noise_dbfs):
    first = measured(FIRST, noise_dbfs=noise_dbfs, take=1)
    design = design_stimulus(first, longest_s=60)
    second = measured(design.recipe, noise_dbfs=noise_dbfs, take=2)
    assert {row.name for row in design.expected} >= {"attack.t63", "release.t63", "release.t90"}
    for row in design.expected:
        reading = second.quantities[row.name].reading
        # windows are chosen by the noise itself, which moves an interval by a factor of two either way, and the
        # scatter of nine carrier phases is not that of five at another step: a factor of three is promised
        assert 1 / 3 < Z95 * reading.std / row.then < 3, row.name
