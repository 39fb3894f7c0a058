from functools import cache

import numpy as np
import pytest

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.health.timeline.turned_setting import check_turned_setting
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Tones
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render

RATE_HZ = 48_000
STEPS = LevelSteps("steps", 997.0, -50.0, -2.0, 6.0, 0.25, True, gap_s=1.0)
TONES = Tones("tones", (997.0,), (-20.0, -8.0, -2.0), 0.3)
STIMULUS = lay_out(Recipe("turned", "three levels again", (STEPS, TONES)), rate_hz=RATE_HZ, take=1)
PLAYED = render(STIMULUS)


@cache
def through(stage, lower_db):
    """What a stage puts out, its threshold so much lower: louder ahead of it, turned down behind."""
    factor = 10 ** (lower_db / 20)
    rng = np.random.default_rng(3)
    return make_stage(stage).process(factor * PLAYED, rate_hz=RATE_HZ, rng=rng).samples / factor


def told(samples, rng):
    noisy = samples + rng.normal(0, 10 ** (-100 / 20) / np.sqrt(2), samples.size)
    source = MemoryCapture(noisy[:, None], rate_hz=RATE_HZ, name="take.wav")
    return check_turned_setting(place_take(Track(source, 0, STIMULUS)))


@pytest.mark.parametrize("stage", ["smooth-gain-soft", "feedback-soft"])
def test_a_threshold_turned_between_steps_and_tones_is_told_with_its_time(rng, stage):
    at = STIMULUS.segments[1].span.start - RATE_HZ // 10  # in the pause ahead of the tones
    turned = np.concatenate([through(stage, 0.0)[:at], through(stage, 1.0)[at:]])
    (found,) = told(turned, rng)
    assert found.code == "gain-step" and "setting was turned" in found.message
    assert found.start_s <= at / RATE_HZ <= found.end_s
    assert told(through(stage, 0.0), rng) == []


@pytest.mark.parametrize("stage", ["optical-leveller", "slow-release", "two-stage-release"])
def test_a_stage_that_remembers_keeps_its_setting(rng, stage):
    assert told(through(stage, 0.0), rng) == []
