import dataclasses

import numpy as np
import pytest

from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.listening.match import measure_levels
from charprobe.replica.chain import play_take
from charprobe.replica.model import SCHEMA, Posterior, Proof, Replica
from charprobe.replica.parts import Bend, Cell, Chain, Detector, Smoothing
from charprobe.replica.preview import preview
from charprobe.stimulus.kinds.material import generate
from charprobe.values.errors import ReplicaError

CELL = Cell(Detector("mean", 2.0, 0.002, 0.002), (Bend(-24.0, 0.75),), Smoothing(attack_s=0.005, release_s=0.12), makeup_db=9.0)  # fmt: skip
REPLICA = Replica(
    schema=SCHEMA, setting="Drums", channel=1, rate_hz=48_000, chain=Chain(cell=CELL), posterior=Posterior(),
    lowest_dbfs=-60.0, highest_dbfs=-3.0, highest_peak_dbfs=-3.0, noise_dbfs=-110.0,
)  # fmt: skip
SOUND = np.tile(generate("speech", seconds=2.0, rate_hz=44_100, rng=np.random.default_rng(2))[:, None], 2)


@pytest.fixture
def dry(tmp_path):
    write_wav(tmp_path / "dry.wav", SOUND, rate_hz=44_100, subtype="float32", force=False)
    return tmp_path / "dry.wav"


def test_the_written_file_is_the_chain_at_the_take_s_rate_and_channels(dry, tmp_path):
    made = preview(REPLICA, dry, tmp_path / "out.wav")
    out = open_capture(tmp_path / "out.wav")
    exact = play_take(REPLICA.chain, SOUND, rate_hz=44_100).sound
    np.testing.assert_allclose(out.read_frames(0, out.frames), exact, atol=1e-7)  # 32-bit floats
    assert made.turned_db == 0 and made.most_reduction_db > made.mean_reduction_db > 0
    assert "not proved" in made.notes[0] and "44100 Hz, the setting was captured at 48000 Hz" in made.notes[1]


def test_equal_loudness_is_equal_on_the_written_file(dry, tmp_path):
    made = preview(REPLICA, dry, tmp_path / "out.wav", equal_loudness=True)
    levels = [measure_levels(open_capture(path)).loudness_lufs for path in (dry, tmp_path / "out.wav")]
    assert made.turned_db == pytest.approx(-made.loudness_change_db)
    assert levels[0] == pytest.approx(levels[1], abs=0.01)


def test_louder_results_and_how_good_the_replica_is_are_told(dry, tmp_path):
    quiet = dataclasses.replace(
        REPLICA, proofs=(Proof("made-up speech", -61.0, 0.02, 1.0),), chain=Chain(cell=Cell(makeup_db=9.0))
    )
    notes = " ".join(preview(quiet, dry, tmp_path / "out.wav").notes)
    assert "made-up speech" in notes and "61 dB below" in notes
    assert "9.0 LU louder" in notes and "clip" in notes


def test_a_take_beyond_the_measured_levels_is_refused_unless_told(tmp_path):
    write_wav(tmp_path / "hot.wav", SOUND * 1.3, rate_hz=44_100, subtype="float32", force=False)
    with pytest.raises(ReplicaError, match=r"Turn the take down by 2\.\d dB"):
        preview(REPLICA, tmp_path / "hot.wav", tmp_path / "out.wav")
    made = preview(REPLICA, tmp_path / "hot.wav", tmp_path / "out.wav", beyond_levels=True)
    assert any("guess" in note for note in made.notes)
