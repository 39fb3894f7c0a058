"""Faults of the path that no level meter shows, injected by code that shares nothing with the detectors."""

from functools import cache

import numpy as np
import pytest

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise_judged
from charprobe.measuring.health.judge import judge_capture, judge_pair
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig import faults
from charprobe.simulation.rig.fault_catalogue import apply_fault
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Silence, Tones
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.quantity import Quantity

RATE_HZ = 48_000
RECIPE = Recipe(
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
STAGES = ("plain-wire", "smooth-gain-soft", "odd-colour")


@cache
def recorded(stage, delay):
    """A clean capture, the same for all tests: what they add to it and how it is judged is theirs."""
    rng = np.random.default_rng([round(10 * delay), *stage.encode()])
    sound = render(lay_out(RECIPE, rate_hz=RATE_HZ, take=1))
    out = make_stage(stage).process(sound, rate_hz=RATE_HZ, rng=rng).samples
    rig = Rig(
        delay_samples=delay, noise_dbfs=-110.0, ac_corner_hz=2.0, drift_ppm=23.0, lead_s=0.3, tail_s=0.3
    )
    capture = rig.record(out, rate_hz=RATE_HZ, rng=rng)
    capture.flags.writeable = False
    return capture


def judged(samples, name):
    capture = MemoryCapture(samples, rate_hz=RATE_HZ, name=f"{name}.wav")
    return judge_capture(capture, lay_out(RECIPE, rate_hz=RATE_HZ, take=1), 0)


@cache
def clean_bypass():
    return judged(recorded("plain-wire", 25.8), "plain-wire")


def judged_pair(stage, *, fault, on_both=True):
    """The capture of a stage and that of the bypass, each with what was found in it."""
    samples, bypass = recorded(stage, 37.4), recorded("plain-wire", 25.8)
    if fault is None:
        return judged(samples, stage), clean_bypass()
    dry = judged(fault(bypass), "plain-wire") if on_both else clean_bypass()
    return judged(fault(samples), stage), dry


def found_in(stage, *, fault=None, on_both=True):
    """Everything that is told before a chapter is measured: no chapter tells these codes."""
    wet, dry = judged_pair(stage, fault=fault, on_both=on_both)
    return (*wet[1], *judge_pair(wet, dry))


def profile_of(stage, *, fault, on_both=True):
    return characterise_judged(*judged_pair(stage, fault=fault, on_both=on_both), setting=stage)


def named(fault):
    return lambda samples: apply_fault(fault, samples, rate_hz=RATE_HZ)


def codes(health):
    return {item.code for item in health} & CODES


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("fault", ["two-paths", "automatic-gain", "gain-step", "level-drift", "hum"])
def test_a_fault_of_the_whole_path_is_told_by_its_name(fault, stage):
    assert fault in codes(found_in(stage, fault=named(fault)))


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("fault", ["two-paths", "gain-step", "level-drift", "hum"])
def test_a_fault_of_one_take_is_told_without_the_other(fault, stage):
    assert codes(found_in(stage, fault=named(fault), on_both=False)) == {fault}


@pytest.mark.parametrize(
    "stage",
    [
        *STAGES, "slow-release", "optical-leveller", "treble-lift", "narrow-band", "fast-limiter", "upward-lift",
        "core-colour", "two-stage-release",
    ],
)  # fmt: skip
def test_clean_captures_are_blamed_for_nothing(stage):
    assert not codes(found_in(stage))


def test_a_second_path_costs_everything_but_the_noise():
    profile = profile_of("smooth-gain-soft", fault=named("two-paths"))
    measured = {name for name, entry in profile.quantities.items() if isinstance(entry.reading, Quantity)}
    assert measured
    assert all(name.split(".")[0] in ("noise", "path") for name in measured)
    message = next(item.message for item in profile.health if item.code == "two-paths")
    assert "4.1 ms behind the sound, 12 dB lower" in message  # as injected
    assert "retake" in message


def test_a_gain_step_is_placed_and_sized():
    health = found_in("plain-wire", fault=named("gain-step"), on_both=False)
    step = next(item.for_people() for item in health if item.code == "gain-step")
    total_s = lay_out(RECIPE, rate_hz=RATE_HZ, take=1).duration_s + 0.6
    assert step.start_s == pytest.approx(total_s / 2, abs=0.02)  # the middle of the capture
    assert "+1.40 dB" in step.message


def test_normalised_exports_are_told_where_the_gains_differ():
    fault = named("normalised")
    louder = profile_of("smooth-gain-soft", fault=fault)
    assert codes(louder.health) == {"normalised"}
    assert not isinstance(louder.quantities["static.makeup_gain"].reading, Quantity)
    assert isinstance(louder.quantities["static.slope"].reading, Quantity)
    equal = profile_of("plain-wire", fault=fault)  # equal takes have equal peaks, but a round one
    assert all("Peaks at exactly −0.1 dBFS" in i.message for i in equal.health if i.code == "normalised")
    assert isinstance(equal.quantities["static.low_level_gain"].reading, Quantity)


def test_a_bypass_that_bends_its_loudest_tones_is_no_automatic_gain():
    assert "automatic-gain" not in codes(found_in("plain-wire", fault=lambda x: x - 0.05 * x**3))


def test_an_automatic_gain_withholds_level_and_time():
    profile = profile_of("smooth-gain-soft", fault=named("automatic-gain"))
    for name in ("static.threshold", "attack.t63", "release.t63", "colour.thd_at_reference"):
        assert not isinstance(profile.quantities[name].reading, Quantity), name
    assert np.isfinite(profile.alignment.delay_samples)


@pytest.mark.parametrize("gain_db", [-0.4, 0.4])
def test_a_step_after_the_last_tone_is_seen_in_the_markers_of_the_bypass(gain_db):
    def stepped(samples):
        return faults.step_gain(samples, at=samples.shape[0] - round(1.45 * RATE_HZ), gain_db=gain_db)

    told = [
        item.for_people().message
        for item in found_in("smooth-gain-soft", fault=stepped)
        if item.code == "level-drift"
    ]
    assert any("In the bypass" in text and "0.40 dB" in text for text in told)
