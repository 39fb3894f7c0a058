"""Captures of level steps alone: two seconds of sound that everything short of timing can be asked of."""

from charprobe.files.sound.source import MemoryCapture
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render

RATE_HZ = 48_000
STIMULUS = lay_out(
    Recipe("steps", "steps alone", (LevelSteps("steps", 997.0, -40.0, -4.0, 6.0, 0.15),)),
    rate_hz=RATE_HZ,
    take=1,
)


def captured(gain, name):
    return MemoryCapture(gain * render(STIMULUS), rate_hz=RATE_HZ, name=name)
