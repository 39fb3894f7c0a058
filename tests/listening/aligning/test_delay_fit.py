"""Delay of one window of noise, under a gain that moves."""

import numpy as np
import pytest
from held import on_24_bit, shifted

from charprobe.listening.aligning.delay_fit import Guide, fit_delay

RATE_HZ, SIZE = 48_000, 1 << 14


@pytest.mark.parametrize("moving", [False, True])
def test_a_fraction_of_a_sample_is_found_whatever_the_gain_does(moving, rng):
    dry = 0.1 * rng.standard_normal(3 * SIZE)
    gain = 10 ** (-6 * np.sin(2 * np.pi * 3 * np.arange(dry.size) / RATE_HZ) / 20) if moving else 0.7
    guide = Guide(
        on_24_bit(dry, rate_hz=RATE_HZ), on_24_bit(shifted(gain * dry, 40.37), rate_hz=RATE_HZ), (0,)
    )
    found = fit_delay(guide, start=SIZE, size=SIZE, delay=40.0, step=1.0, response=np.ones((1, 1)))
    assert found.delay == pytest.approx(40.37, abs=2e-3)  # a tenth of what a pair promises
    assert found.unexplained < 1e-2
    assert SIZE < found.position < 2 * SIZE
