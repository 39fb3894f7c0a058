import dataclasses

from made_profiles import B, made_profile

from charprobe.profile.entry import Health
from charprobe.profile.standing import left_out, spoilt_by, standing

CLIPPED = Health("clipped", "warn", "The recorder clipped.", withholds=("static.slope",))
SATURATED = Health("output-saturated", "warn", "The stage saturates.", withholds=("static.slope",))


def take(*health, channel=1):
    return dataclasses.replace(made_profile(B, channel=channel), health=health)


def test_a_good_take_stands_for_its_setting_and_the_other_is_named():
    bad, good = take(CLIPPED), take()
    assert standing([bad, good]) == [good]
    assert [
        line.endswith("left out; the other takes stand for the setting") for line in left_out([bad, good])
    ] == [True]
    assert "spoiled (clipped)" in left_out([bad, good])[0]


def test_the_only_take_stands_even_if_it_is_spoiled_and_that_is_said():
    bad = take(CLIPPED)
    assert standing([bad, take(channel=2)]) == [bad, take(channel=2)]
    assert left_out([bad])[0].endswith("capture it again")


def test_what_the_stage_does_spoils_no_take():
    assert spoilt_by(take(SATURATED)) == ()
