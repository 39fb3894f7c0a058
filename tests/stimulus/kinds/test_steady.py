import numpy as np
import pytest
from one_segment import RATE_HZ, one

from charprobe.stimulus.kinds.steady import Silence, Tones


def test_tones_rise_through_the_whole_run_whatever_the_order_of_the_recipe():
    segment, _ = one(Tones("t", (100.0, 997.0), (-20.0, -40.0, -5.0), 0.1))
    assert [(t.frequency_hz, t.level_dbfs) for t in segment.tones] == [
        (f, level) for level in (-40.0, -20.0, -5.0) for f in (997.0, 100.0)
    ]


def test_silence_is_digital_zero_and_then_a_quiet_tone():
    _, samples = one(Silence("n", 0.5, 0.3))
    assert not samples[: RATE_HZ // 2].any()
    assert np.abs(samples[RATE_HZ // 2 :]).max() == pytest.approx(1e-3, rel=1e-3)
    assert one(Silence("n", 0.5))[0].tones == ()
