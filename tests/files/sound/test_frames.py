import numpy as np
import pytest
from held import as_source

from charprobe.files.sound.frames import BLOCK_FRAMES, frame_blocks, read_padded

SOUND = as_source(np.arange(20.0).reshape(10, 2), 48_000)


@pytest.mark.parametrize(("start", "stop"), [(-3, 4), (7, 15), (2, 5), (-9, -2), (12, 14), (-2, 13)])
def test_what_lies_outside_a_source_reads_as_silence(start, stop):
    truth = np.array([SOUND.samples[k] if 0 <= k < 10 else [0.0, 0.0] for k in range(start, stop)])
    np.testing.assert_array_equal(read_padded(SOUND, start, stop), truth)


@pytest.mark.parametrize("frames", [1, BLOCK_FRAMES, BLOCK_FRAMES + 1])
def test_blocks_are_all_of_the_source_once_and_none_is_longer_than_said(frames):
    samples = np.arange(float(frames))[:, None]
    blocks = list(frame_blocks(as_source(samples, 48_000)))
    assert max(map(len, blocks)) <= BLOCK_FRAMES
    np.testing.assert_array_equal(np.concatenate(blocks), samples)
