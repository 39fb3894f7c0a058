"""Colour told apart from gain ripple on whole stages; truth is what the stages are made of."""

from functools import cache

import numpy as np
import pytest

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise_judged
from charprobe.measuring.health.judge import judge_capture
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Tones
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.quantity import Quantity

RATE_HZ = 48_000
RECIPE = Recipe(
    "ripple",
    "steps, bursts, a sweep, and tones at three frequencies",
    (
        Sweep("response", 10.0, 22_000.0, 3.0, -45.0, gap_s=1.0),
        LevelSteps("steps", 997.0, -45.0, -3.0, 3.0, 0.4, False, gap_s=1.0),
        Bursts("times", 3989.0, 2, -40.0, -10.0, 0.4, 0.35, 0.5, True),
        Tones("tones", (110.0, 997.0, 5003.0), (-20.0, -10.0, -4.0), 0.5),
    ),
)
# share of the third harmonic that is ripple: none where nothing reduces gain by the carrier's half waves,
# all where nothing saturates
TRUTH = {
    "coloured-compressor": 0.0,
    "exact-colour": 0.0,
    "odd-colour": 0.0,
    "feedforward-rms-hard": 100.0,
    "feedforward-average-soft": 100.0,
    "diode-leveller": 100.0,
}


@cache
def judged(stage, delay):
    rng = np.random.default_rng(list(stage.encode()))  # the noise of two takes is never the same
    stimulus = lay_out(RECIPE, rate_hz=RATE_HZ, take=1)
    out = make_stage(stage).process(render(stimulus), rate_hz=RATE_HZ, rng=rng).samples
    rig = Rig(delay_samples=delay, noise_dbfs=-110.0, bits=24, ac_corner_hz=2.0, drift_ppm=23.0)
    recorded = rig.record(out, rate_hz=RATE_HZ, rng=rng)
    return judge_capture(MemoryCapture(recorded, rate_hz=RATE_HZ, name=stage), stimulus, 0)


@cache
def profile_of(name):
    return characterise_judged(judged(name, 37.4), judged("plain-wire", 25.8), setting=name)


@pytest.mark.parametrize("name", TRUTH)
def test_the_share_of_ripple_is_what_the_stage_is_made_of(name):
    profile = profile_of(name)
    share = profile.quantities["colour.ripple_share"].reading
    assert isinstance(share, Quantity)
    assert share.low <= TRUTH[name] <= share.high
    assert share.value == pytest.approx(TRUTH[name], abs=10)  # of the harmonic; each is trusted to 3 %
    explained = any("Ripple of the gain explains" in sentence for sentence in profile.findings)
    onset = profile.quantities["colour.onset"].reading
    if TRUTH[name] == 100.0:
        assert explained
        assert not isinstance(onset, Quantity), f"{name} has no colour"
    else:
        assert not explained, f"{name} has no ripple"


@pytest.mark.parametrize(
    "name", ["feedforward-rms-hard", "feedforward-average-soft", "feedforward-peak-hard"]
)
def test_the_times_foretell_the_ripple(name):
    table = profile_of(name).curves["colour_and_ripple"].columns
    rows = [
        (measured, low, high)
        for measured, low, high, hz in zip(
            table["h3_dbc"],
            table["expected_low_dbc"],
            table["expected_high_dbc"],
            table["frequency_hz"],
            strict=True,
        )
        if low is not None and measured is not None and hz < 2000
    ]
    assert len(rows) >= 4
    for measured, low, high in rows:
        assert low - 0.3 <= measured <= high + 0.3  # of the stage's own ripple, by its harmonics


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("feedforward-average-soft", "ripple explains it"),
        ("coloured-compressor", "is colour"),
    ],
)
def test_what_the_expected_ripple_says(name, words):
    findings = profile_of(name).findings
    assert any(words in sentence for sentence in findings)
