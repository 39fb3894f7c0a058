"""A silence segment with a quiet tone, as recorded: open, or muted where nothing plays."""

import numpy as np
import pytest
from taken import take_of, wire

from charprobe.estimators.idle import hear_idle
from charprobe.stimulus.kinds.steady import Silence

HISS_DBFS = -90.0  # over 0 to 24 kHz
IN_BAND_DB = 10 * np.log10(19_980 / 24_000)


def heard(device, rng, *spec):
    take = take_of([Silence("idle", *spec)], device, rng=rng, noise_dbfs=HISS_DBFS)
    (segment,) = (s for s in take.stimulus.segments if isinstance(s.spec, Silence))
    return hear_idle(segment, take.segment(segment))


def test_noise_in_silence_and_beside_the_tone_is_that_of_the_path(rng):
    idle = heard(wire, rng, 1.5, 1.0)
    assert not idle.muted
    assert idle.used is idle.silent
    # 0.75 s or more of white noise is read to 0.05 dB (one sigma)
    for noise in (idle.silent, idle.beside_tone):
        assert noise.unweighted.value == pytest.approx(HISS_DBFS + IN_BAND_DB, abs=0.25)


def test_without_a_tone_only_the_silence_is_heard(rng):
    idle = heard(wire, rng, 1.0)
    assert idle.tone is None
    assert idle.beside_tone is None
    assert idle.used is idle.silent
