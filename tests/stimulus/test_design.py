import math

import pytest
from designs import FIRST, bursts_in, measured, profile_with

from charprobe.stimulus.design import design_stimulus
from charprobe.stimulus.recipe import recipe_from_table
from charprobe.stimulus.render import lay_out
from charprobe.values.quantity import Z95, Quantity, Unmeasured


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


@pytest.mark.parametrize("noise_dbfs", [-110.0, -90.0])
def test_what_is_expected_is_what_comes_out(noise_dbfs):
    first = measured(FIRST, noise_dbfs=noise_dbfs, take=1)
    design = design_stimulus(first, longest_s=110)
    second = measured(design.recipe, noise_dbfs=noise_dbfs, take=2)
    assert {row.name for row in design.expected} >= {"attack.t63", "release.t63", "release.t90"}
    for row in design.expected:
        reading = second.quantities[row.name].reading
        # windows are chosen by the noise itself, which moves an interval by a factor of two either way, and the
        # scatter of nine carrier phases is not that of five at another step: a factor of three is promised
        assert 1 / 3 < Z95 * reading.std / row.then < 3, row.name
