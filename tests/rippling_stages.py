"""Whole stages played steps, bursts, a sweep and tones; what they are made of tells colour from ripple."""

from functools import cache

import numpy as np

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
