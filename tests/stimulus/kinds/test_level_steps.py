import math

import numpy as np
from one_segment import RATE_HZ, one

from charprobe.stimulus.kinds.level_steps import LevelSteps

STEPS = LevelSteps("steps", 997.0, -20.0, -2.0, 3.0, 0.1)


def test_steps_rise_and_fall_to_the_exact_levels():
    segment, samples = one(STEPS)
    levels = [t.level_dbfs for t in segment.tones]
    assert levels == [-20, -17, -14, -11, -8, -5, -2, -5, -8, -11, -14, -17, -20]
    for tone in segment.tones:
        begin = tone.start - segment.span.start + tone.ramp
        n = np.arange(tone.ramp, tone.length - 300)
        expected = 10 ** (tone.level_dbfs / 20) * np.cos(2 * np.pi * 997 * n / RATE_HZ + tone.phase_rad)
        np.testing.assert_allclose(
            samples[begin : begin + n.size], expected, atol=1e-9
        )  # rounding of the argument


def test_steps_join_without_a_phase_jump():
    segment, _ = one(STEPS)
    start = segment.span.start
    for tone in segment.tones:
        jump = tone.phase_rad - 2 * np.pi * 997 * (tone.start - start) / RATE_HZ
        assert abs(math.remainder(jump, 2 * np.pi)) < 1e-9
