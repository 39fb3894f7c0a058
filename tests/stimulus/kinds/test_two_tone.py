import numpy as np
import pytest
from one_segment import RATE_HZ, one

from charprobe.stimulus.kinds.two_tone import TwoTone


@pytest.mark.parametrize("ratio", [4.0, 1.0])
def test_a_pair_has_its_ratio_and_its_peak_at_every_level(ratio):
    segment, samples = one(TwoTone("p", 60.0, 7000.0, ratio, (-30.0, -10.0), 0.4))
    assert [tone.level_dbfs for tone in segment.tones] == [-30.0, -10.0]
    assert segment.span.length == samples.size == segment.tones[-1].stop - segment.span.start
    for tone in segment.tones:
        begin = tone.start - segment.span.start + round(0.1 * RATE_HZ)
        middle = samples[begin : begin + round(0.2 * RATE_HZ)]  # whole cycles of both tones
        size = 2 / middle.size * np.abs(np.fft.rfft(middle))
        lower, upper = size[round(60 * 0.2)], size[round(7000 * 0.2)]
        assert lower / upper == pytest.approx(ratio, rel=1e-9)
        assert lower + upper == pytest.approx(10 ** (tone.level_dbfs / 20), rel=1e-9)
