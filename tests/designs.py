"""First profiles with known readings, and what a design asks of them."""

import dataclasses

import numpy as np
from made_profiles import Setting, made_profile

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise
from charprobe.profile.entry import Entry
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Silence
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.quantity import Unmeasured

FIRST = Recipe(
    "first",
    "what a design asks of a first profile: noise, a static curve, and times",
    (
        Silence("idle", 1.5, tone_s=1.0),
        LevelSteps("steps", 997.0, -50.0, -2.0, 3.0, 0.25, True, gap_s=1.0),
        Bursts("reference", 3989.0, 5, -40.0, -4.0, 0.15, 0.3, 0.6, reference=True),
    ),
)


def profile_with(**readings):
    profile = made_profile(Setting("a", threshold_dbfs=-22.0, ratio=4.0, knee_db=6.0, release_s=0.12))
    entries = dict(profile.quantities)
    for name, reading in readings.items():
        entries[name.replace("__", ".")] = Entry(reading, "" if isinstance(reading, Unmeasured) else "test")
    return dataclasses.replace(profile, quantities=entries)


def bursts_in(design):
    return [spec for spec in design.recipe.segments if isinstance(spec, Bursts)]


def measured(recipe, *, noise_dbfs, take):
    """The profile of a smoothed 4:1 stage behind the rig, from one play of a recipe."""
    rng, stimulus = np.random.default_rng(take), lay_out(recipe, rate_hz=48_000, take=take)
    sound, captures = render(stimulus), []
    for name, delay in (("smooth-gain-hard", 37.4), ("plain-wire", 25.8)):
        out = make_stage(name).process(sound, rate_hz=48_000, rng=rng).samples
        rig = Rig(delay_samples=delay, drift_ppm=23.0, noise_dbfs=noise_dbfs, bits=24, lead_s=0.2, tail_s=0.2)
        recorded = rig.record(out, rate_hz=48_000, rng=rng)
        captures.append(MemoryCapture(recorded, rate_hz=48_000, name=name))
    return characterise(captures[0], stimulus, channel=1, setting="s", bypass=captures[1])
