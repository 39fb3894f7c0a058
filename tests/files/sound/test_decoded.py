"""What is kept of a source is what it holds, and nobody can write to it."""

import pickle

import numpy as np
import pytest
import soundfile

from charprobe.files.sound import decoded
from charprobe.files.sound.sound_file import open_capture, write_wav


def test_what_is_kept_of_a_channel_is_what_was_recorded(tmp_path, monkeypatch, rng):
    sound = rng.uniform(-1, 1, (3000, 3))
    monkeypatch.setattr(decoded, "BLOCK_FRAMES", 100)
    monkeypatch.setattr(decoded, "STRETCH_FRAMES", 300)
    monkeypatch.setattr(decoded, "KEPT_FRAMES", 600)
    write_wav(tmp_path / "a.wav", sound, rate_hz=48_000, subtype="pcm24", force=False)
    capture = open_capture(tmp_path / "a.wav")
    whole = capture.read_frames(0, capture.frames)
    for start, stop, channel in ((0, 3000, 1), (250, 310, 0), (250, 310, 2), (-5, 4000, 1), (99, 101, 1)):
        np.testing.assert_array_equal(
            capture.read(start, stop, channel), whole[max(0, start) : stop, channel]
        )
    with pytest.raises(ValueError, match="read-only"):  # what is kept is handed out as it is
        capture.read(0, 100, 0)[:] = 0.0
    assert len(pickle.dumps(capture)) < 2000


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
def test_what_is_kept_holds_every_value_of_its_coding(tmp_path, rng, subtype):
    sound = np.concatenate([rng.uniform(-1, 1, (70_000, 2)), [[-1.0, 1.0]]])  # more digits than any of them
    soundfile.write(tmp_path / "a.wav", sound, 48_000, subtype=subtype)
    capture = open_capture(tmp_path / "a.wav")
    for channel in range(2):
        kept = capture.read(0, capture.frames, channel)
        assert kept.dtype == np.float64
        np.testing.assert_array_equal(kept, capture.read_frames(0, capture.frames)[:, channel])
