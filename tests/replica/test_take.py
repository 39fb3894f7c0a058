import numpy as np
import pytest

from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.replica.model import SCHEMA, Posterior, Replica
from charprobe.replica.parts import Chain
from charprobe.replica.take import cautions_of, check_take
from charprobe.values.errors import ReplicaError


@pytest.mark.parametrize(
    ("sound", "rate_hz", "says"),
    [
        (np.zeros((100, 1)), 48_000, "is silent"),
        (np.ones((100, 1)), 4000, "4000 Hz"),
        (np.ones((100, 33)), 48_000, "33 channels"),
    ],
)
def test_what_no_replica_can_play_is_refused(tmp_path, sound, rate_hz, says):
    write_wav(tmp_path / "take.wav", sound, rate_hz=rate_hz, subtype="float32", force=True)
    with pytest.raises(ReplicaError, match=says):
        check_take(open_capture(tmp_path / "take.wav"))


def test_the_peak_of_all_channels_is_told(tmp_path, rng):
    sound = 0.1 * rng.standard_normal((1000, 2)).astype(np.float32)
    sound[700, 1] = -0.75
    write_wav(tmp_path / "take.wav", sound, rate_hz=48_000, subtype="float32", force=True)
    assert check_take(open_capture(tmp_path / "take.wav")) == 0.75


def test_a_take_that_was_cut_off_or_has_another_rate_is_cautioned(tmp_path):
    replica = Replica(SCHEMA, "Off", 1, 48_000, Chain(), Posterior(), -60.0, 0.0, 0.0, -110.0)
    whole, cut = tmp_path / "whole.wav", tmp_path / "cut.wav"
    write_wav(whole, np.ones((96_000, 1)), rate_hz=48_000, subtype="float32", force=False)
    cut.write_bytes(whole.read_bytes()[: 48_000 * 4])
    assert list(cautions_of(replica, open_capture(whole))) == []
    [said] = cautions_of(replica, open_capture(cut))
    assert "ends at 0:00:01.0" in said and "cut off" in said
    write_wav(whole, np.ones((9600, 1)), rate_hz=96_000, subtype="float32", force=True)
    assert "captured at 48000 Hz" in "".join(cautions_of(replica, open_capture(whole)))
