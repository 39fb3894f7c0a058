"""Faults injected by code that shares nothing with the detectors are told by their names, and nothing else is."""

import numpy as np
import pytest
from judged_captures import RATE, STAGES, clean_once, judged, told
from judged_pairs import PAIRED, codes, found_in, named, profile_of

from charprobe.simulation.devices.catalogue import stage_names
from charprobe.simulation.rig import faults
from charprobe.simulation.rig.fault_catalogue import apply_fault
from charprobe.values.quantity import Quantity


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize(
    ("fault", "code"),
    [
        ("spur", "spur"), ("hum", "hum"), ("wow", "clock-drift"), ("lossy-coded", "lossy-coded"),
        ("rate-converted-twice", "rate-converted"), ("start-missing", "start-missing"), ("gap-edited", "gap-edited"),
        ("normalised", "normalised"), ("idle-mute", "idle-mute"), ("low-level", "low-level"),
    ],
)  # fmt: skip
def test_a_fault_is_told_by_its_name(fault, code, stage):
    assert code in told(apply_fault(fault, clean_once(stage), rate_hz=RATE))


@pytest.mark.parametrize("stage", STAGES)
def test_faded_edges_cost_the_start_and_the_end(stage):
    assert {"start-missing", "truncated"} <= set(
        told(apply_fault("edges-faded", clean_once(stage), rate_hz=RATE))
    )


@pytest.mark.parametrize("stage", stage_names())
def test_clean_captures_of_every_stage_are_blamed_for_nothing(stage):
    blamed = set(told(clean_once(stage))) - {"clipped-below-full-scale"}  # limiters have ceilings
    if stage == "noise-gate":
        blamed -= {"idle-mute"}
    assert not blamed


def test_clipping_names_what_it_costs():
    samples = faults.clip(10 ** (9.5 / 20) * clean_once("plain-wire"), ceiling_dbfs=0.0)
    found = [item for item in judged(samples)[1] if item.code == "clipped"]
    assert any("attack" in item.withholds for item in found)


@pytest.mark.parametrize("stage", PAIRED)
@pytest.mark.parametrize("fault", ["two-paths", "automatic-gain", "gain-step", "level-drift", "hum"])
def test_a_fault_is_told_of_the_whole_path_and_of_one_take(fault, stage):
    assert fault in codes(found_in(stage, fault=named(fault)))
    if fault != "automatic-gain":  # in one take alone it is part of the stage
        assert codes(found_in(stage, fault=named(fault), on_both=False)) == {fault}


@pytest.mark.parametrize(
    "stage",
    [
        *PAIRED, "slow-release", "optical-leveller", "treble-lift", "narrow-band", "fast-limiter", "upward-lift",
        "core-colour", "two-stage-release",
    ],
)  # fmt: skip
def test_clean_captures_are_blamed_for_nothing(stage):
    assert not codes(found_in(stage))


def test_an_automatic_gain_withholds_level_and_time():
    profile = profile_of("smooth-gain-soft", fault=named("automatic-gain"))
    for name in ("static.threshold", "attack.t63", "release.t63", "colour.thd_at_reference"):
        assert not isinstance(profile.quantities[name].reading, Quantity), name
    assert np.isfinite(profile.alignment.delay_samples)


def test_samples_that_are_no_numbers_all_over_a_take_end_in_findings(rng):
    spoiled = clean_once("plain-wire").copy()
    spoiled[::4801] = np.nan
    assert "non-finite" in told(spoiled)
