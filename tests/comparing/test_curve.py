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


def test_a_curve_that_ends_early_is_not_said_to_be_the_same():
    short = made_profile(D)
    table = short.curves["static"]
    used = [level < -25 for level in table.columns["input_dbfs"]]
    short = dataclasses.replace(short, curves={"static": Table({**table.columns, "used": used}, table.units)})
    found = verdicts(compare_profiles([made_profile(B), short]))
    assert found["static curve"] == "cannot tell"
