import dataclasses

import numpy as np
import pytest
from compared import pair, verdicts
from made_profiles import B, D, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.comparing.curve import ComparedCurve, curve_gap, read_between
from charprobe.profile.entry import Table
from charprobe.profile.glossary.row import difference


def test_only_louder_keeps_the_anchored_curve():
    found = verdicts(pair(B, dataclasses.replace(B, name="loud", makeup_db=4.0)))
    assert found["static curve"] == "different"
    assert found["static curve, anchored"] == "same"
    assert found["static.makeup_gain"] == "different"


def cut_at(profile, top_dbfs, **marks):
    """The profile with steps from `top_dbfs` up left out of its static curve, and marked so."""
    table = profile.curves["static"]
    above = [level >= top_dbfs for level in table.columns["input_dbfs"]]
    columns = {**table.columns, "used": [not one for one in above]}
    columns |= {name: [one and marked for one in above] for name, marked in marks.items()}
    return dataclasses.replace(
        profile, curves={"static": Table(columns, dict.fromkeys(columns, "") | dict(table.units))}
    )


def test_a_curve_that_ends_early_is_not_said_to_be_the_same():
    short = cut_at(made_profile(D), -25)
    found = verdicts(compare_profiles([made_profile(B), short]))
    assert found["static curve"] == "cannot tell"


def test_two_curves_that_both_end_early_are_the_same_only_if_saturation_ends_them():
    both = [cut_at(made_profile(dataclasses.replace(B, name=name)), -25) for name in "ab"]
    assert verdicts(compare_profiles(both))["static curve, anchored"] == "cannot tell"
    flat = [cut_at(one, -25, saturated=True) for one in both]
    assert verdicts(compare_profiles(flat))["static curve, anchored"] == "same"


def gap_in(profile, low_dbfs, high_dbfs, name):
    """The profile with the steps between two levels left out of its static curve."""
    table = profile.curves["static"]
    used = [not low_dbfs < level < high_dbfs for level in table.columns["input_dbfs"]]
    columns = {**table.columns, "used": used}
    static = Table(columns, dict.fromkeys(columns, "") | dict(table.units))
    return dataclasses.replace(profile, setting=name, curves={"static": static})


@pytest.mark.parametrize("low_dbfs", [-40, -52])  # over the knee, and where the lowest levels anchor it
def test_steps_left_out_around_the_knee_make_no_difference_of_a_stage_to_itself(low_dbfs):
    again = made_profile(dataclasses.replace(B, name="again"))
    found = verdicts(compare_profiles([made_profile(B), gap_in(again, low_dbfs, -10, "gap")]))
    assert {found["static curve"], found["static curve, anchored"]} == {"cannot tell"}


def test_between_its_places_a_curve_is_known_as_far_as_its_neighbours_lines_meet():
    place = np.array([-40.0, -30.0, -20.0, 0.0, 10.0])
    bent = ComparedCurve(place, -np.maximum(0.0, place + 12.0), np.zeros(5), 1.0)
    at = np.linspace(-40, 10, 101)
    value, std = read_between(bent, at)
    assert np.all(np.abs(value + np.maximum(0.0, at + 12.0)) <= std + 1e-9)
    assert np.all(read_between(bent, place)[1] == 0.0)
    straight = ComparedCurve(place, 0.5 * place, np.full(5, 0.01), 1.0)
    assert read_between(straight, at)[1] == pytest.approx(np.full(at.size, 0.01))


def test_a_difference_is_told_by_a_place_that_shows_it():
    place = np.arange(8.0)
    one = ComparedCurve(place, np.zeros(8), np.full(8, 0.01), same_end=1.0)
    off, std = np.array([10.0, 0, 0, 3, 0, 0, 0, 0]), np.array([25.0, *[0.01] * 7])  # the first may be none
    found = curve_gap(one, ComparedCurve(place, off, std, same_end=1.0), margin=difference(0.5, "-"), tests=1)
    assert found.verdict == "different" and found.value == 3.0 and found.low > 2.9
