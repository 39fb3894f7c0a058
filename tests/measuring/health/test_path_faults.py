"""Faults of the path that no level meter shows, injected by code that shares nothing with the detectors."""

import numpy as np
import pytest

from charprobe.files.source import MemoryCapture
from charprobe.measuring.characterise import characterise
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


def recorded(stage, delay, rng):
    sound = render(lay_out(RECIPE, rate_hz=RATE_HZ, take=1))
    out = make_stage(stage).process(sound, rate_hz=RATE_HZ, rng=rng).samples
    rig = Rig(
        delay_samples=delay, noise_dbfs=-110.0, ac_corner_hz=2.0, drift_ppm=23.0, lead_s=0.3, tail_s=0.3
    )
    return rig.record(out, rate_hz=RATE_HZ, rng=rng)


def profile_of(stage, rng, *, fault=None, on_both=True):
    captures = []
    for name, delay in ((stage, 37.4), ("plain-wire", 25.8)):
        samples = recorded(name, delay, rng)
        if fault is not None and (on_both or not captures):
            samples = fault(samples)
        captures.append(MemoryCapture(samples, rate_hz=RATE_HZ, name=f"{name}.wav"))
    stimulus = lay_out(RECIPE, rate_hz=RATE_HZ, take=1)
    return characterise(captures[0], stimulus, channel=1, setting=stage, bypass=captures[1])


def named(fault):
    return lambda samples: apply_fault(fault, samples, rate_hz=RATE_HZ)


def found(profile):
    return {item.code for item in profile.health} & CODES


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("fault", ["two-paths", "automatic-gain", "gain-step", "level-drift", "hum"])
def test_a_fault_of_the_whole_path_is_told_by_its_name(fault, stage, rng):
    assert fault in found(profile_of(stage, rng, fault=named(fault)))


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("fault", ["two-paths", "gain-step", "level-drift", "hum"])
def test_a_fault_of_one_take_is_told_without_the_other(fault, stage, rng):
    assert found(profile_of(stage, rng, fault=named(fault), on_both=False)) == {fault}


@pytest.mark.parametrize(
    "stage",
    [
        *STAGES, "slow-release", "optical-leveller", "treble-lift", "narrow-band", "fast-limiter", "upward-lift",
        "core-colour", "two-stage-release",
    ],
)  # fmt: skip
def test_clean_captures_are_blamed_for_nothing(stage, rng):
    assert not found(profile_of(stage, rng))


def test_a_second_path_costs_everything_but_the_noise(rng):
    profile = profile_of("smooth-gain-soft", rng, fault=named("two-paths"))
    measured = {name for name, entry in profile.quantities.items() if isinstance(entry.reading, Quantity)}
    assert measured
    assert all(name.split(".")[0] in ("noise", "path") for name in measured)
    message = next(item.message for item in profile.health if item.code == "two-paths")
    assert "4.1 ms apart, the second 12 dB lower" in message  # as injected
    assert "retake" in message


@pytest.mark.parametrize(("delay_ms", "gain_db"), [(0.8, -6.0), (4.1, -30.0), (25.0, -20.0), (50.0, -12.0)])
def test_the_delay_and_level_of_the_copy_are_those_injected(delay_ms, gain_db, rng):
    delay = round(delay_ms * RATE_HZ / 1e3)
    profile = profile_of(
        "plain-wire", rng, fault=lambda x: faults.second_path(x, delay=delay, gain_db=gain_db), on_both=False
    )
    message = next(item.message for item in profile.health if item.code == "two-paths")
    assert f"{1e3 * delay / RATE_HZ:.1f} ms apart" in message
    assert f"the second {-gain_db:.0f} dB lower" in message


def test_a_gain_step_is_placed_and_sized(rng):
    profile = profile_of("plain-wire", rng, fault=named("gain-step"), on_both=False)
    step = next(item for item in profile.health if item.code == "gain-step")
    total_s = lay_out(RECIPE, rate_hz=RATE_HZ, take=1).duration_s + 0.6
    assert step.start_s == pytest.approx(total_s / 2, abs=0.02)  # the middle of the capture
    assert "+1.40 dB" in step.message


def test_normalised_exports_are_told_where_the_gains_differ(rng):
    fault = named("normalised")
    louder = profile_of("smooth-gain-soft", rng, fault=fault)
    assert found(louder) == {"normalised"}
    assert not isinstance(louder.quantities["static.makeup_gain"].reading, Quantity)
    assert isinstance(louder.quantities["static.slope"].reading, Quantity)
    equal = profile_of("plain-wire", rng, fault=fault)  # equal takes have equal peaks, but a round one
    assert all("Peaks at exactly −0.1 dBFS" in i.message for i in equal.health if i.code == "normalised")
    assert isinstance(equal.quantities["static.low_level_gain"].reading, Quantity)


def test_a_bypass_that_bends_its_loudest_tones_is_no_automatic_gain(rng):
    profile = profile_of("plain-wire", rng, fault=lambda x: x - 0.05 * x**3)
    assert "automatic-gain" not in found(profile)


def test_an_automatic_gain_withholds_level_and_time(rng):
    profile = profile_of("smooth-gain-soft", rng, fault=named("automatic-gain"))
    for name in ("static.threshold", "attack.t63", "release.t63", "colour.thd_at_reference"):
        assert not isinstance(profile.quantities[name].reading, Quantity), name
    assert np.isfinite(profile.alignment.delay_samples)


@pytest.mark.parametrize("gain_db", [-0.4, 0.4])
def test_a_step_after_the_last_tone_is_seen_in_the_markers_of_the_bypass(gain_db, rng):
    def stepped(samples):
        return faults.step_gain(samples, at=samples.shape[0] - round(1.45 * RATE_HZ), gain_db=gain_db)

    profile = profile_of("smooth-gain-soft", rng, fault=stepped)
    told = [item.message for item in profile.health if item.code == "level-drift"]
    assert any("In the bypass" in text and "0.40 dB" in text for text in told)
