"""What a fit hears is what the stage was moved by: the stage itself, with its own numbers, meets every stretch."""

from functools import partial

import numpy as np
import pytest

from charprobe.files.sound.source import MemoryCapture
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.replica.fitting.heard import Memory, hear
from charprobe.replica.fitting.pair import Noise, Pair
from charprobe.replica.fitting.player import Player
from charprobe.replica.fitting.stretches import stretches_of
from charprobe.replica.parts import Bend, Cell, Chain, Detector, Smoothing
from charprobe.simulation.devices.chain import Wire
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.gain_computer import Bend as Turn
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.simulate import record_stage
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Silence, Tones
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render
from tests.benchmarks.feedback_loop import FeedbackLoop

RATE = 48_000
SEGMENTS = (
    Silence("idle", 0.5),
    LevelSteps("steps", 997.0, -40.0, -4.0, 3.0, 0.2),
    Tones("tones", (110.0, 701.0), (-30.0, -20.0, -10.0), 0.2, gap_s=0.5),
    Bursts("bursts", 3989.0, 3, -30.0, -6.0, 0.3, 0.3, 0.3, reference=True),
)
STIMULUS = lay_out(Recipe("steps", "steps, tones and bursts", SEGMENTS), rate_hz=RATE, take=1)
RIG = Rig(noise_dbfs=-110, delay_samples=80, bits=None, lead_s=0.1, tail_s=0.1)
NOISE = 10 ** (-110 / 20) / np.sqrt(2)
WHOLE = Smoothing(domain="level in dB", attack_s=0.002, release_s=0.4)
AHEAD = Compressor(
    "ahead", "looks ahead", (Turn(-30.0, 0.9, 4.0),), 0.002, 0.4, detector="peak", placement="before computer",
    lookahead_s=0.004,
)  # fmt: skip
LOOP = FeedbackLoop("loop", -23.0, 20.0, 0.2, 0.9, 5.0, 0.012, 0.0)
STAGES = {
    "ahead": (
        AHEAD,
        Cell(Detector("peak", floor_dbfs=-120.0), (Bend(-30.0, 0.9, 4.0),), WHOLE, lookahead_s=0.004),
    ),
    "loop": (
        LOOP,
        Cell(
            Detector("mean", exponent=2.0, rise_s=0.012, fall_s=0.012), (Bend(-23.0, 19.0, 5.0),),
            Smoothing(attack_s=0.2, release_s=0.9), "feedback",
        ),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", STAGES)
def test_the_stage_itself_meets_every_stretch_as_far_as_noise_lets_it(name):
    stage, cell = STAGES[name]
    played = render(STIMULUS)
    through = stage.process(played, rate_hz=RATE, rng=np.random.default_rng(0)).samples
    source = partial(MemoryCapture, rate_hz=RATE)
    wet, dry = (
        source(record_stage(Wire("wire", "wire"), sound, rig=RIG, rate_hz=RATE, seed=seed))
        for seed, sound in enumerate((through, played))
    )
    pair = Pair(*(place_take(Track(one, 0, STIMULUS)) for one in (wet, dry))).seal()
    stretches = stretches_of(pair.wet, threshold_dbfs=-30.0)
    for use in ("search", "held out"):
        some = [one for one in stretches if one.use == use]
        heard = hear(pair, some, memory=Memory.of(cell.smoothing), noise=Noise(NOISE, NOISE, 0.0))
        [made] = Player(heard, RATE).play([Chain(cell=cell)])
        error = (heard.target - made) * heard.weight
        for at, _ in heard.parts:
            for part in np.array_split(error[at], 8):  # an end that is met by silence, a start from rest
                assert np.sqrt(np.mean(part**2)) < 1.5  # noise and `FINEST` leave 1
