import dataclasses

import pytest
from compared import pair, repeat, verdicts
from made_profiles import B, D, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.profile import glossary
from charprobe.profile.entry import Entry
from charprobe.values.quantity import Quantity, Unmeasured


@pytest.mark.parametrize(("shift", "verdict"), [(0.05, "same"), (0.2, "different")])
def test_make_up_against_its_margin(shift, verdict):
    other = dataclasses.replace(B, name="other", makeup_db=B.makeup_db + shift)
    assert verdicts(pair(B, other))["static.makeup_gain"] == verdict


def test_a_quantity_without_number_cannot_be_told_and_says_why():
    item = next(d for d in pair(B, D).differences if d.name == "release.memory")
    assert (item.verdict, item.gap) == ("cannot tell", None)
    assert item.reason == "; ".join(
        f"{label}: the recipe has no burst_lengths segment" for label in ("B – slow", "D – slower")
    )


def test_repeats_that_scatter_widen_the_interval_and_settle_less():
    steady = [repeat(B, 1, 3.0), repeat(B, 2, 3.0), repeat(D, 3, 3.2), repeat(D, 4, 3.2)]
    moving = [repeat(B, 1, 2.8), repeat(B, 2, 3.2), repeat(D, 3, 3.0), repeat(D, 4, 3.4)]
    assert verdicts(compare_profiles(steady))["static.makeup_gain"] == "different"
    assert verdicts(compare_profiles(moving))["static.makeup_gain"] == "cannot tell"
    assert compare_profiles(moving).notes != pair(B, D).notes  # the latter asks for a repeat


def test_a_ratio_whose_interval_reaches_zero_is_not_compared():
    profiles = [made_profile(B), made_profile(D)]
    entry = Entry(Quantity(0.001, -0.001, 0.003, "s"), "burst")
    profiles[0] = dataclasses.replace(profiles[0], quantities={"attack.t63": entry})
    item = next(d for d in compare_profiles(profiles).differences if d.name == "attack.t63")
    assert item.reason == "B – slow: its interval reaches zero"


def bounded(setting, name, **bound):
    profile = made_profile(setting)
    unit = glossary.term(name).unit
    return dataclasses.replace(
        profile, quantities={name: Entry(Unmeasured(unit, "hidden", "longer tones", **bound), "")}
    )


@pytest.mark.parametrize(
    ("bound", "verdict", "least"),
    [
        ({"at_most": -112.0}, "different", "+52 dB or beyond"),
        ({"at_most": -61.0}, "cannot tell", "–"),
        ({}, "cannot tell", "–"),
    ],
)
def test_a_number_far_beyond_the_other_sides_bound_is_different(bound, verdict, least):
    clean = bounded(D, "colour.h2_at_reference", **bound)
    comparison = compare_profiles([clean, made_profile(B)])  # H2 of B is -60 dBc
    item = next(d for d in comparison.differences if d.name == "colour.h2_at_reference")
    assert item.verdict == verdict
    assert item.text.startswith(least)


def test_a_time_beyond_a_bound_is_different_in_either_order():
    slow = bounded(D, "release.t63", at_least=0.6)  # that of B is 0.12 s, at most 0.1209 s
    for profiles, text in (
        ([slow, made_profile(B)], "× 0.202 or less"),
        ([made_profile(B), slow], "× 4.96 or more"),
    ):
        item = next(d for d in compare_profiles(profiles).differences if d.name == "release.t63")
        assert (item.verdict, item.text) == ("different", text)


def test_two_repeats_of_one_side_do_not_drown_a_difference_that_the_other_states():
    """4 ms twice, nearly alike, against 20 ms within 5 %: one degree of freedom behind a tiny part of the doubt."""

    def timed(name, number, value, std):
        profile = repeat(dataclasses.replace(B, name=name), number, B.makeup_db)
        return dataclasses.replace(
            profile, curves={}, quantities={"attack.t63": Entry(Quantity.from_std(value, std, "s"), "burst")}
        )

    quick = [timed("quick", 1, 0.0040764, 4e-7), timed("quick", 2, 0.0040734, 1e-6)]
    found = compare_profiles([*quick, timed("slow", 3, 0.0201, 0.0005)]).differences
    assert [d.verdict for d in found if d.name == "attack.t63"] == ["different"]
