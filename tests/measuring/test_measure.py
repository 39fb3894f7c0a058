"""The door of the library: what is left out is found, what is asked for is done."""

import pytest
from steps_alone import STIMULUS, captured

from charprobe.measuring.measure import measure
from charprobe.profile.volts import DBU_VOLTS, VoltsReading
from charprobe.values.errors import CharprobeError


@pytest.fixture(scope="module")
def captures():
    return captured(0.5, "on.wav"), captured(0.8, "off.wav")


def test_a_setting_is_named_after_its_capture_and_set_against_its_bypass(captures):
    readings = [VoltsReading(-20.0, DBU_VOLTS), VoltsReading(-40.0, 0.1 * DBU_VOLTS)]
    profile = measure(captures[0], STIMULUS, bypass=captures[1], volts=readings)
    assert profile.setting == "on"
    assert profile["static.makeup_gain"].value == pytest.approx(-4.0824, abs=0.001)  # 20 lg (0.5 / 0.8)
    assert measure(captures[0], STIMULUS, setting="mine").setting == "mine"


def test_a_channel_that_is_not_there_is_refused(captures):
    with pytest.raises(CharprobeError, match="there is no channel 2"):
        measure(captures[0], STIMULUS, channel=2)
