"""A recipe of twelve seconds that plays a little of every topic."""

from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Silence, Tones
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.stimulus.recipe import Recipe

RECIPE = Recipe(
    "short",
    "a little of every topic",
    (
        Silence("idle", 1.5, 1.0),
        Sweep("response", 20.0, 20_000.0, 1.5, -30.0),
        LevelSteps("steps", 997.0, -50.0, -2.0, 3.0, 0.25, True, gap_s=1.0),
        Tones("tones", (110.0, 997.0, 5003.0), (-40.0, -20.0, -6.0), 0.3),
        Bursts("reference", 3989.0, 3, -40.0, -4.0, 0.15, 0.2, 0.6, reference=True),
    ),
)
