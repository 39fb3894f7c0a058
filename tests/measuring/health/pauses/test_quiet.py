"""What pauses share: white noise of known level and a sine of known level."""

import math

import numpy as np
import pytest
from taken import RATE_HZ, take_of, wire

from charprobe.measuring.health.pauses.quiet import pauses, quiet_spectrum
from charprobe.stimulus.kinds.steady import Silence, Tones

SEGMENTS = (Silence("idle", 3.0), Tones("tones", (997.0,), (-20.0,), 0.3))


def test_a_sine_stands_at_its_level_in_its_bin_and_noise_at_its_own(rng):
    def with_line(samples):
        return samples + 10 ** (-70 / 20) * np.sin(2 * np.pi * 1000 / RATE_HZ * np.arange(samples.size))

    spectrum = quiet_spectrum(
        take_of(SEGMENTS, with_line, rng=rng, noise_dbfs=-90.0, drift_ppm=0.0, bits=None)
    )
    at = round(1000 / spectrum.bin_hz)
    assert 10 * math.log10(spectrum.power[at]) == pytest.approx(-70, abs=0.3)
    # white noise: its power over the bins of half the rate, a Hann window as wide as 1.5 bins, the median of an
    # exponential at ln 2 of its mean; 200 bins of 25 frames scatter by 0.1 dB
    noise = spectrum.power[at + 400 : at + 600]
    truth = -90 - 10 * math.log10(spectrum.power.size) + 10 * math.log10(1.5 * math.log(2))
    assert 10 * math.log10(np.mean(noise)) == pytest.approx(truth, abs=0.4)


def test_pauses_are_what_nothing_is_played_in(rng):
    stimulus = take_of(SEGMENTS, wire, rng=rng).stimulus
    found = pauses(stimulus)
    silence = stimulus.segments[0].span
    assert any(start <= silence.start and stop >= silence.stop for start, stop in found)
    for segment in stimulus.segments:
        for tone in segment.tones:
            assert all(stop <= tone.start or start >= tone.stop for start, stop in found)
