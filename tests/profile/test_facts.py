"""Facts of a capture are checked where a profile is read."""

import json

import pytest
from made_profiles import B, made_profile

from charprobe.profile.profile import Profile
from charprobe.values.errors import ProfileError


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("capture", "sha256"), "0F" * 32),
        (("capture", "bits"), 65),
        (("capture", "duration_s"), -1.0),
        (("stimulus", "take"), -1),
        (("alignment", "polarity"), 0),
        (("made_with", "version"), "x" * 201),
    ],
)
def test_a_fact_that_cannot_be_is_named(place, value):
    table = json.loads(made_profile(B).to_json())
    table[place[0]][place[1]] = value
    with pytest.raises(ProfileError, match=place[1]):
        Profile.from_json(json.dumps(table), source="p.json")
