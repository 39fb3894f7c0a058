import hashlib

import numpy as np
import pytest

from charprobe.files.sound.source import MemoryCapture


def test_memory_answers_like_a_file():
    samples = np.arange(20.0).reshape(10, 2)
    source = MemoryCapture(samples, rate_hz=5, name="made")
    assert (source.name, source.rate_hz, source.frames, source.channels) == ("made", 5, 10, 2)
    assert source.facts.duration_s == 2.0
    assert source.read(2, 5, 1).tolist() == [5.0, 7.0, 9.0]
    assert source.read(-5, 2, 0).tolist() == [0.0, 2.0]
    assert source.read(8, 99, 0).tolist() == [16.0, 18.0]
    assert source.read(99, 100, 0).size == source.read(5, 3, 0).size == 0
    assert source.read_frames(9, 12).tolist() == [[18.0, 19.0]]
    assert [len(block) for block in source.blocks(0, 4)] == [4, 4, 2]
    assert np.concatenate(list(source.blocks(1, 3))).tolist() == samples[:, 1].tolist()
    assert source.sha256() == hashlib.sha256(samples.tobytes()).hexdigest()


def test_one_channel_may_be_flat_and_reading_hands_out_copies():
    source = MemoryCapture(np.zeros(4), rate_hz=1, name="x")
    source.read(0, 4, 0)[:] = 1
    assert source.channels == 1
    assert not source.read(0, 4, 0).any()


@pytest.mark.parametrize("shape", [(0,), (0, 2), (3, 0), (2, 2, 2)])
def test_what_is_no_sound_is_refused(shape):
    with pytest.raises(ValueError, match="are no sound"):
        MemoryCapture(np.zeros(shape), rate_hz=48_000, name="x")


def test_an_absent_channel_is_the_callers_mistake():
    with pytest.raises(ValueError, match="channel 1 of a source with channels 0 to 0"):
        MemoryCapture(np.zeros(4), rate_hz=1, name="x").read(0, 1, 1)
