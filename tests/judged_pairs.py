"""Captures of a stage and of its bypass, and what is told of the two together."""

from functools import cache, lru_cache

import numpy as np

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise_judged
from charprobe.measuring.health.judge import judge_capture, judge_pair
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.fault_catalogue import apply_fault
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Silence, Tones
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render

PATH_RATE_HZ = 48_000


PATH_RECIPE = Recipe(
    "path",
    "a little of every topic",
    (
        Silence("idle", 1.5),
        LevelSteps("steps", 997.0, -50.0, -2.0, 3.0, 0.25, True, gap_s=1.0),
        Tones("tones", (110.0, 997.0, 5003.0), (-40.0, -20.0, -6.0), 0.3),
        Bursts("reference", 3989.0, 3, -40.0, -4.0, 0.15, 0.2, 0.6, reference=True),
    ),
)


CODES = {"two-paths", "automatic-gain", "gain-step", "level-drift", "normalised", "hum"}


PAIRED = ("plain-wire", "smooth-gain-soft", "odd-colour")


@cache
def recorded(stage, delay):
    """A clean capture, the same for all tests: what they add to it and how it is judged is theirs."""
    rng = np.random.default_rng([round(10 * delay), *stage.encode()])
    sound = render(lay_out(PATH_RECIPE, rate_hz=PATH_RATE_HZ, take=1))
    out = make_stage(stage).process(sound, rate_hz=PATH_RATE_HZ, rng=rng).samples
    rig = Rig(
        delay_samples=delay, noise_dbfs=-110.0, ac_corner_hz=2.0, drift_ppm=23.0, lead_s=0.3, tail_s=0.3
    )
    capture = rig.record(out, rate_hz=PATH_RATE_HZ, rng=rng)
    capture.flags.writeable = False
    return capture


def judged_path(samples, name):
    capture = MemoryCapture(samples, rate_hz=PATH_RATE_HZ, name=f"{name}.wav")
    return judge_capture(capture, lay_out(PATH_RECIPE, rate_hz=PATH_RATE_HZ, take=1), 0)


@cache
def clean_bypass():
    return judged_path(recorded("plain-wire", 25.8), "plain-wire")


@lru_cache(maxsize=4)  # the capture and the bypass of the last two pairs: what a fault does is judged once
def judged_with(fault, stage, delay):
    return judged_path(fault(recorded(stage, delay)), stage)


def judged_pair(stage, *, fault, on_both=True):
    """The capture of a stage and that of the bypass, each with what was found in it."""
    if fault is None:
        return judged_path(recorded(stage, 37.4), stage), clean_bypass()
    dry = judged_with(fault, "plain-wire", 25.8) if on_both else clean_bypass()
    return judged_with(fault, stage, 37.4), dry


def found_in(stage, *, fault=None, on_both=True):
    """Everything that is told before a chapter is measured: no chapter tells these codes."""
    wet, dry = judged_pair(stage, fault=fault, on_both=on_both)
    return judge_pair(wet, dry)


def profile_of(stage, *, fault, on_both=True):
    return characterise_judged(*judged_pair(stage, fault=fault, on_both=on_both), setting=stage)


@cache
def named(fault):
    return lambda samples: apply_fault(fault, samples, rate_hz=PATH_RATE_HZ)


def codes(health):
    return {item.code for item in health} & CODES
