"""Latency between two captures made by the simulated rig."""

import numpy as np
import pytest
from taken import RATE_HZ, reading, take_of, wire

from charprobe.measuring.chapters.path import path_chapter
from charprobe.stimulus.kinds.steady import Silence
from charprobe.values.quantity import Unmeasured

IDLE = [Silence("idle", 0.5)]


def test_latency_is_the_difference_of_the_delays(rng):
    bypass = take_of(IDLE, wire, rng=rng, delay_samples=100.25)
    wet = take_of(IDLE, wire, rng=rng, delay_samples=163.75)
    chapter = path_chapter(wet, bypass)
    samples = reading(chapter, "path.latency_samples")
    assert samples.value == pytest.approx(63.5, abs=0.02)  # the goal for delays; 18 ppm of it are 0.001
    assert reading(chapter, "path.latency").value == pytest.approx(samples.value / RATE_HZ)


def test_latency_is_in_samples_of_the_stimulus_whatever_the_clock_of_the_recorder(rng):
    clock = {"drift_ppm": 400.0, "delay_samples": 321.6}
    late = np.zeros(96)
    wet = take_of(IDLE, lambda sound: np.concatenate([late, sound]), rng=rng, **clock)
    samples = reading(path_chapter(wet, take_of(IDLE, wire, rng=rng, **clock)), "path.latency_samples")
    # 400 ppm of 96 samples are 0.038, the recorder's own count; the markers tell 0.0002 at -110 dBFS
    assert samples.value == pytest.approx(96, abs=0.004)


def test_captures_not_started_in_step_give_no_latency(rng):
    bypass = take_of(IDLE, wire, rng=rng, delay_samples=500.0)
    wet = take_of(IDLE, wire, rng=rng, delay_samples=100.0)
    found = reading(path_chapter(wet, bypass), "path.latency")
    assert isinstance(found, Unmeasured) and "not started in step" in found.reason


def test_without_bypass_there_is_none(rng):
    found = reading(path_chapter(take_of(IDLE, wire, rng=rng), None), "path.latency")
    assert isinstance(found, Unmeasured) and "bypass" in found.reason


@pytest.mark.parametrize("stage", [1, -1])
@pytest.mark.parametrize("recorder", [1, -1])
def test_a_setting_that_inverts_polarity_says_so_whatever_the_recorder_does(stage, recorder, rng):
    bypass, wet = (take_of(IDLE, lambda sound, s=s: s * sound, rng=rng) for s in (recorder, recorder * stage))
    assert bool(path_chapter(wet, bypass).findings) == (stage < 0)
