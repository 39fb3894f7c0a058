import dataclasses

import pytest
from compared import flat
from made_profiles import LIMITER, TWO_STAGE, B, D, made_profile

from charprobe.comparing.reference import beside_reference
from charprobe.values.errors import ProfileError


def renamed(setting, name, **changes):
    return made_profile(dataclasses.replace(setting, name=name, **changes))


def test_a_setting_meets_the_nearest_whatever_it_is_called_and_the_rest_is_told():
    earlier = [renamed(LIMITER, "three"), renamed(D, "two"), renamed(B, "one", makeup_db=B.makeup_db + 2)]
    (found,) = beside_reference([made_profile(B)], earlier, called="other model")
    assert found.startswith(
        "B – slow is nearest to one of other model (paired by curve and times): the same in "
    )
    assert "curve, attack, release" in found
    assert "different in gain +2.0 dB (the earlier one re this)" in found


def test_every_setting_is_set_beside_one():
    own = [made_profile(setting) for setting in (B, TWO_STAGE)]
    earlier = [renamed(TWO_STAGE, "x"), renamed(B, "y")]
    found = beside_reference(own, earlier, called="e")
    assert [line.split(" (")[0].split(" is ")[1] for line in found] == [
        "nearest to y of e",
        "nearest to x of e",
    ]


def test_who_has_no_attack_either_is_nearer_than_who_has_one():
    earlier = [renamed(B, "compressor"), flat("plain")]
    (found,) = beside_reference([flat("wire")], earlier, called="e")
    assert "is nearest to plain of e" in found
    assert "neither has" in found


def test_a_recording_is_not_set_beside_itself():
    with pytest.raises(ProfileError, match="also among the profiles"):
        beside_reference([made_profile(B)], [made_profile(B)], called="e")
