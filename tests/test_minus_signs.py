"""What people read has the true minus sign, wherever the sentence comes from."""

import re
from functools import cache

import numpy as np
import pytest
from a_little_of_all import RECIPE

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise_judged
from charprobe.measuring.health.judge import judge_capture
from charprobe.publishing.summary import summarise_all
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.render import lay_out, render
from charprobe.values.quantity import Unmeasured

HYPHEN_BEFORE_DIGIT = re.compile(r"(?<![\w.])-\d")


@cache
def judged(stage):
    rng, stimulus = (
        np.random.default_rng(list(stage.encode())),
        lay_out(RECIPE, rate_hz=48_000, take=1),
    )
    out = make_stage(stage).process(render(stimulus), rate_hz=48_000, rng=rng).samples
    rig = Rig(delay_samples=20.3, noise_dbfs=-100.0, bits=24, drift_ppm=-8.0, dc_offset=-0.004, lead_s=0.2)
    capture = MemoryCapture(rig.record(out, rate_hz=48_000, rng=rng), rate_hz=48_000, name=stage)
    return judge_capture(capture, stimulus, 0)


@pytest.mark.parametrize(
    "stage", ["plain-wire", "coloured-compressor", "noise-gate", "bass-lift", "core-colour"]
)
def test_no_number_has_a_hyphen_for_a_minus(stage):
    profile = characterise_judged(judged(stage), judged("plain-wire"), setting=stage)
    texts = [item.message for item in profile.health] + list(profile.findings)
    for entry in profile.quantities.values():
        texts.append(entry.conditions)
        if isinstance(entry.reading, Unmeasured):
            texts += [entry.reading.reason, entry.reading.next]
    assert not [text for text in texts if HYPHEN_BEFORE_DIGIT.search(text)]
    assert not HYPHEN_BEFORE_DIGIT.search(summarise_all(profile))
