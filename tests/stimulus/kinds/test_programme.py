import numpy as np
import pytest
from one_segment import RATE_HZ, one

from charprobe.stimulus.kinds.programme import PASSAGES, Programme

SPEC = Programme("proof", 8.0, -6.0)


def test_every_passage_reaches_the_level_and_no_more():
    segment, samples = one(SPEC)
    for material, span in SPEC.passages(segment):
        first = span.start - segment.span.start
        passage = samples[first : first + span.length]
        assert np.abs(passage).max() == pytest.approx(10 ** (-6 / 20), rel=1e-9), material
        assert np.abs(passage[[0, -1]]).max() < 1e-4
        crest_db = 20 * np.log10(np.abs(passage).max() / passage.std())
        assert crest_db > 9  # programme, not a tone


def test_passages_follow_one_another_and_fill_the_segment():
    segment, samples = one(SPEC)
    passages = SPEC.passages(segment)
    assert [name for name, _ in passages] == list(PASSAGES)
    assert [span.start for _, span in passages[1:]] == [span.stop for _, span in passages[:-1]]
    assert (passages[0][1].start, passages[-1][1].stop) == (segment.span.start, segment.span.stop)
    assert samples.size == segment.span.length == 8 * RATE_HZ


def test_the_seed_decides_the_sound():
    sounds = [one(Programme("proof", 8.0, -6.0, seed))[1] for seed in (1, 1, 2)]
    np.testing.assert_array_equal(sounds[0], sounds[1])
    assert abs(np.corrcoef(sounds[0], sounds[2])[0, 1]) < 0.5
