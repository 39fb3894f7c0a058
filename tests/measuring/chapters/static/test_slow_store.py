"""A store slower than any step or tone shows where a tone comes back at another gain than its step had."""

import numpy as np
import pytest
from taken import reading, take_of

from charprobe.measuring.chapters.static.chapter import static_chapter
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Tones

SEGMENTS = (
    LevelSteps("steps", 997.0, -50.0, -2.0, 3.0, 0.2),
    Tones("harmonics", frequencies_hz=(997.0,), levels_dbfs=(-20.0, -11.0, -5.0), tone_s=0.2),
)
THRESHOLD_DBFS, SHARE, LATE_S = -24.0, 0.75, 4.0


def compressor(added):
    """4:1 on the level that is played, and `added` more of it 4 s after it first reduced: heat arrives late."""

    def device(samples):
        size = 480
        blocks = np.abs(samples[: samples.size // size * size]).reshape(-1, size).max(axis=1)
        reduction = SHARE * np.maximum(0.0, 20 * np.log10(np.maximum(blocks, 1e-5)) - THRESHOLD_DBFS)
        warm = np.arange(reduction.size) > np.argmax(reduction > 0) + LATE_S * 48_000 / size
        gain = np.repeat(-reduction * (1 + added * warm), size)
        gain = np.pad(gain, (0, samples.size - gain.size), mode="edge")
        return samples * 10 ** (gain / 20)

    return device


@pytest.mark.parametrize("added", [0.0, 0.0005])
def test_what_a_slow_store_has_still_to_take_is_inside_the_intervals(rng, added):
    chapter, curve = static_chapter(take_of(SEGMENTS, compressor(added), rng=rng), None)
    assert (curve.slow_db > 0) == (added > 0)
    most = reading(chapter, "static.max_reduction")
    assert most.low <= SHARE * -(THRESHOLD_DBFS + 2.0) * (1 + added) <= most.high
