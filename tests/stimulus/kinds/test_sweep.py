import math

import numpy as np
from one_segment import RATE_HZ, one

from charprobe.stimulus.kinds.sweep import Sweep


def test_the_sweep_is_the_closed_form_and_runs_through_its_frequencies():
    spec = Sweep("s", 20.0, 20_000.0, 2.0, -10.0)
    segment, samples = one(spec)
    assert segment.tones == ()
    t = np.arange(samples.size) / RATE_HZ
    rate_s = 2.0 / math.log(1000)
    middle = (t > 0.01) & (t < 1.99)
    expected = 10**-0.5 * np.sin(2 * np.pi * 20 * rate_s * np.exp(t / rate_s))
    np.testing.assert_allclose(samples[middle], expected[middle], atol=1e-8)
    assert not spec.at(np.array([-1.0, 0.0, 2.0, 3.0])).any()
