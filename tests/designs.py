"""First profiles with known readings, and what a design asks of them."""

import dataclasses

from made_profiles import Setting, made_profile

from charprobe.profile.entry import Entry
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Silence
from charprobe.stimulus.recipe import Recipe
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
