import dataclasses

from compared import pair, verdicts
from made_profiles import B, D, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.profile.entry import Table


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
