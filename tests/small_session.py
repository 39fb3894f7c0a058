"""A session small enough to be measured whole in a test: two settings of a wire, its captures under known names."""

import numpy as np

from charprobe.files.sound.sound_file import write_wav
from charprobe.simulation.devices.chain import Wire
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.simulate import record_stage
from charprobe.stimulus.recipe import parse_recipe
from charprobe.stimulus.render import lay_out, render

RATE_HZ = 48_000
RECIPE = """schema = "charprobe.recipe/1"
name = "short"
summary = "A few steps."
[[segment]]
kind = "level_steps"
name = "steps"
from_dbfs = -50.0
to_dbfs = -8.0
step_db = 6.0
step_s = 0.12
frequency_hz = 997.0
"""
SESSION = """schema = "charprobe.session/1"
title = "Wires <b>"
recipe = "short.toml"
bypass = "off.wav"
[device]
name = "A box of wire"
[[setting]]
name = "plain"
captures = ["plain 1.wav", "plain 2.wav"]
[[setting]]
name = "loud = 3"
captures = ["loud.wav"]
channels = [1, 2]
[[claim]]
says = "only louder"
settings = ["plain", "loud = 3"]
"""


def write_capture(path, number, gain_db):
    samples = render(lay_out(parse_recipe(RECIPE, source="short.toml"), rate_hz=RATE_HZ, take=1))
    rig = Rig(delay_samples=900.3 + number, drift_ppm=8.0, noise_dbfs=-105.0, bits=24, lead_s=0.2)
    channels = []
    for channel in range(2):
        recorded = record_stage(
            Wire("wire", "nothing"), samples, rig=rig, rate_hz=RATE_HZ, seed=2 * number + channel
        )
        channels.append(np.asarray(recorded).reshape(len(recorded), -1)[:, 0] * 10 ** (gain_db / 20))
    write_wav(path, np.stack(channels, axis=1), rate_hz=RATE_HZ, subtype="pcm24", force=True)
