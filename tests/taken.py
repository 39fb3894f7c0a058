"""Takes of short recipes through any device given as a function of samples, recorded by the simulated rig."""

import numpy as np

from charprobe.files.sound.source import MemoryCapture
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render

RATE_HZ = 48_000
RIG = {"drift_ppm": 18.3, "noise_dbfs": -110.0, "bits": 24, "lead_s": 0.1, "tail_s": 0.1}


def take_of(segments, device, *, rng, **rig):
    """Play `segments`, send them through ``device(samples)``, record, and place the capture."""
    recipe = Recipe("made", "made for a test", tuple(segments))
    stimulus = lay_out(recipe, rate_hz=RATE_HZ, take=3)
    recorder = Rig(**(RIG | {"delay_samples": 321.6} | rig))
    capture = recorder.record(device(render(stimulus)), rate_hz=RATE_HZ, rng=rng)
    return place_take(Track(MemoryCapture(capture, rate_hz=RATE_HZ, name="made.wav"), 0, stimulus))


def wire(samples):
    return samples


class NoReduction:
    """A static curve without gain reduction."""

    level_std_db = 0.0
    unfinished_db = 0.0
    slow_db = 0.0
    restless_db = 0.0

    def steepness_at(self, input_dbfs):
        return 0.0

    def reduction_db_at(self, input_dbfs):
        return 0.0


def reading(chapter, name):
    return chapter.quantities[name].reading


def column(chapter, curve, name):
    return np.array(chapter.curves[curve].columns[name])
