"""What figures take from a profile."""

import dataclasses

import pytest
from made_profiles import UGLY, B, made_profile

from charprobe.profile.entry import Health
from charprobe.profile.in_dbu import with_dbu
from charprobe.profile.volts import VoltsReading
from charprobe.publishing.figures.look.source import conditions, curve_of, in_words, who
from charprobe.values.errors import ProfileError


def test_a_curve_that_is_missing_is_named_with_those_there_are_and_what_took_it_back():
    profile = made_profile(B)
    assert curve_of(profile, "static") is profile.curves["static"]
    with pytest.raises(ProfileError, match="no curve 'transfer' to plot; curves of this profile: gain_trace"):
        curve_of(profile, "transfer")
    lost = Health("clipped", "stop", "m", withholds=("colour",))
    left = {name: curve for name, curve in profile.curves.items() if name != "harmonics"}
    with pytest.raises(ProfileError, match="because of clipped"):
        curve_of(dataclasses.replace(profile, curves=left, health=(lost,)), "harmonics")


def test_readings_in_words():
    profile = made_profile(B)
    assert in_words(profile, "release.memory") == "not measured"
    assert in_words(profile, "static.threshold").startswith("−22")
    assert in_words(profile, "colour.h4_at_reference").startswith("≤")


def test_conditions_are_told_once_with_capture_and_warnings():
    text = conditions(made_profile(B), ["static.threshold", "static.slope", "no.such"])
    assert text.count("997 Hz steps") == 1
    assert "warnings: unsettled;" in text
    assert "recipe quick, take 3" in text
    assert "\n" not in who(made_profile(UGLY))
    volts = with_dbu(made_profile(B), [VoltsReading(-20.0, 0.775), VoltsReading(-40.0, 0.0775)])
    text = conditions(volts, ["static.threshold"])
    assert text.startswith("full scale +20.0 dBu by voltmeter; ") and "= " not in text
