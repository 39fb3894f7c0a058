import dataclasses

import pytest
from made_profiles import LIMITER, TWO_STAGE, B, D, made_profile

from charprobe.comparing.reference import beside_reference
from charprobe.values.errors import ProfileError


def renamed(setting, name, **changes):
    return made_profile(dataclasses.replace(setting, name=name, **changes))


def test_a_setting_meets_the_nearest_whatever_it_is_called_and_the_rest_is_told():
    earlier = [renamed(LIMITER, "three"), renamed(D, "two"), renamed(B, "one", makeup_db=B.makeup_db + 2)]
    (found,) = beside_reference([made_profile(B)], earlier, called="other model")
    assert (found.setting, found.nearest) == ("B – slow", "one")
    assert found.sentence.startswith(
        "B – slow is nearest to one of other model (paired by curve and times): the same in "
    )
    assert "curve, attack, release" in found.sentence
    assert "different in gain +2.0 dB (the earlier one re this)" in found.sentence


def test_every_setting_is_set_beside_one():
    own = [made_profile(setting) for setting in (B, TWO_STAGE)]
    earlier = [renamed(TWO_STAGE, "x"), renamed(B, "y")]
    assert [one.nearest for one in beside_reference(own, earlier, called="e")] == ["y", "x"]


def test_a_recording_is_not_set_beside_itself():
    with pytest.raises(ProfileError, match="also among the profiles"):
        beside_reference([made_profile(B)], [made_profile(B)], called="e")
