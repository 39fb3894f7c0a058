"""A pause that is switched off is told with its place."""

import pytest
from judged_captures import RATE, clean_once, placed

from charprobe.measuring.health.pauses.idle_mute import check_idle_mute
from charprobe.simulation.rig.fault_catalogue import apply_fault


def test_a_muted_silence_is_told_from_where_on_and_a_quiet_one_is_not():
    take = placed(apply_fault("idle-mute", clean_once("plain-wire"), rate_hz=RATE))
    (found,) = check_idle_mute(take)
    silence = take.stimulus.segments[0].span
    assert found.start_s == pytest.approx(take.capture_time_s(silence.start), abs=1e-3)
    assert found.end_s == pytest.approx(take.capture_time_s(silence.stop), abs=1e-3)
    assert "Noise is taken beside the quiet tone" in found.message
    assert check_idle_mute(placed(clean_once("plain-wire"))) == []
