"""The static chapter of simulated stages with closed-form curves, through the simulated rig."""

from functools import cache

import numpy as np
from taken import take_of, wire

from charprobe.measuring.chapters.static.chapter import static_chapter
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.stimulus.kinds.level_steps import LevelSteps

RATE_HZ = 48_000.0


STEPS = [LevelSteps("steps", 997.0, -58.0, -2.0, 2.0, 0.25)]


PATH_DB = -1.3


def measured(name, rng, *, segments=STEPS, bypass=True):
    stage = make_stage(name)

    def device(samples):
        return stage.process(samples, rate_hz=RATE_HZ, rng=rng).samples

    wet = take_of(segments, device, rng=rng, gain_db=PATH_DB)
    dry = take_of(segments, wire, rng=rng, gain_db=PATH_DB) if bypass else None
    return stage, *static_chapter(wet, dry)


@cache
def on_steps(name):
    """A stage played the usual steps, beside a bypass, once for all tests."""
    return measured(name, np.random.default_rng(list(name.encode())))


def codes(chapter):
    return {item.code for item in chapter.health}
