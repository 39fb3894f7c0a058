"""A check judges one capture, and with a bypass the two together."""

import pytest
from steps_alone import STIMULUS, captured

from charprobe.measuring.check import check
from charprobe.values.errors import CharprobeError


def test_a_check_hears_the_pair():
    capture = captured(0.5, "on.wav")
    alone, pair = check(capture, STIMULUS), check(capture, STIMULUS, bypass=capture)
    assert "equals-other-capture" in {item.code for item in pair.health} - {
        item.code for item in alone.health
    }
    with pytest.raises(CharprobeError, match="there is no channel 2"):
        check(capture, STIMULUS, channel=2)
