"""Captures of simulated stages, and what the judge of one capture tells of them."""

from functools import cache

import numpy as np
from a_little_of_all import RECIPE

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.health.judge import judge_capture
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.render import lay_out, render

RATE = 48_000


STAGES = ("plain-wire", "feedforward-rms-hard", "odd-colour")


def clean(stage, rng, *, noise_dbfs=-110.0):
    sound = render(lay_out(RECIPE, rate_hz=RATE, take=1))
    out = 0.8 * make_stage(stage).process(sound, rate_hz=RATE, rng=rng).samples
    rig = Rig(
        delay_samples=37.4, noise_dbfs=noise_dbfs, ac_corner_hz=2.0, drift_ppm=23.0, lead_s=0.3, tail_s=0.3
    )
    return rig.record(out, rate_hz=RATE, rng=rng)


@cache
def clean_once(stage):
    """A clean capture that all tests share; what they do to it is theirs."""
    capture = clean(stage, np.random.default_rng(list(stage.encode())))
    capture.flags.writeable = False
    return capture


def held(samples):
    return MemoryCapture(samples, rate_hz=RATE, name="made.wav")


def placed(samples):
    """A capture on the stimulus clock, for tests of one check: nothing else was asked of it."""
    return place_take(Track(held(samples), 0, lay_out(RECIPE, rate_hz=RATE, take=1)))


def judged(samples, stimulus=None, channel=0):
    return judge_capture(held(samples), stimulus or lay_out(RECIPE, rate_hz=RATE, take=1), channel)


def told(samples):
    """Code -> message of what is worse than a note."""
    return {item.code: item.message for item in judged(samples)[1] if item.severity != "note"}
