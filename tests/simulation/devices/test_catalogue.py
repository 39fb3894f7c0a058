import math

import numpy as np
import pytest

from charprobe.profile.glossary import term
from charprobe.simulation.devices.catalogue import make_stage, stage_names
from charprobe.simulation.devices.stage import REFERENCE_DBFS
from charprobe.values.errors import CharprobeError

RATE = 48_000.0
N = np.arange(int(1.5 * RATE))
TONE = 10 ** (REFERENCE_DBFS / 20) * np.cos(2 * np.pi * 997 / RATE * N)


@pytest.mark.parametrize("name", stage_names())
def test_stage_keeps_the_interface(name, rng):
    stage = make_stage(name)
    out = stage.process(TONE, rate_hz=RATE, rng=rng)
    assert stage.name == name
    assert stage.summary
    assert out.samples.shape == out.gain_db.shape == TONE.shape
    assert np.isfinite(out.samples).all()
    assert np.isfinite(out.gain_db).all()
    assert all(math.isfinite(known.value) and known.within >= 0 for known in stage.truth.values())
    for quantity, known in stage.truth.items():
        assert known.unit == term(quantity).unit, quantity


@pytest.mark.parametrize("name", stage_names())
def test_settled_tone_has_the_stated_static_gain(name, rng):
    stage = make_stage(name)
    n = np.arange(int(6 * RATE))
    tone = 10 ** (REFERENCE_DBFS / 20) * np.cos(2 * np.pi * 997 / RATE * n)
    out = stage.process(tone, rate_hz=RATE, rng=rng).samples
    last = slice(n.size - 48_000, None)
    carrier = np.exp(-2j * np.pi * 997 / RATE * n[last])
    gain_db = 20 * np.log10(abs(out[last] @ carrier) / abs(tone[last] @ carrier))
    # detector ripple and envelope error, see the single pieces; a chain's harmonics stay out of its closed form
    assert gain_db == pytest.approx(stage.static_gain_db(np.array([REFERENCE_DBFS]))[0], abs=2e-3)


def test_unknown_stage_names_those_there_are():
    with pytest.raises(CharprobeError, match="no reference stage 'no-such-thing'; there are: plain-wire"):
        make_stage("no-such-thing")
