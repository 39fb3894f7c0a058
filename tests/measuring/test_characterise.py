"""What a named fault takes back: numbers and curves alike, and all that reads a profile goes on without."""

from functools import cache

import numpy as np
import pytest

from charprobe.comparing.compare import compare_profiles
from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import bounded, characterise_judged
from charprobe.measuring.health.judge import judge_capture
from charprobe.profile import glossary
from charprobe.profile.entry import Entry
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.all_figures import profile_drawings, set_drawings
from charprobe.publishing.figures.look.source import curve_of
from charprobe.publishing.figures.look.style import ARTICLE_LOOK
from charprobe.publishing.report.page import render_page
from charprobe.publishing.summary import summarise_all
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.fault_catalogue import apply_fault
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Silence, Tones
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.errors import ProfileError
from charprobe.values.quantity import Quantity, Unmeasured, is_told

RATE_HZ = 48_000
RECIPE = Recipe(
    "short",
    "a little of every topic",
    (
        Silence("idle", 1.5),
        Sweep("response", 20.0, 20_000.0, 1.5, -30.0),
        LevelSteps("steps", 997.0, -50.0, -2.0, 6.0, 0.2, True, gap_s=0.6),
        Tones("tones", (110.0, 997.0, 5003.0), (-40.0, -20.0, -6.0), 0.2),
        Bursts("reference", 3989.0, 3, -40.0, -4.0, 0.1, 0.1, 0.4, reference=True),
    ),
)


@cache
def recorded(stage):
    rng = np.random.default_rng(len(stage))
    sound = render(lay_out(RECIPE, rate_hz=RATE_HZ, take=1))
    out = make_stage(stage).process(sound, rate_hz=RATE_HZ, rng=rng).samples
    rig = Rig(delay_samples=37.4, noise_dbfs=-110.0, ac_corner_hz=2.0, drift_ppm=23.0, lead_s=0.3, tail_s=0.3)
    return rig.record(out, rate_hz=RATE_HZ, rng=rng)


def judged(samples):
    capture = MemoryCapture(samples, rate_hz=RATE_HZ, name="made.wav")
    return judge_capture(capture, lay_out(RECIPE, rate_hz=RATE_HZ, take=1), 0)


@cache
def profile_of(fault):
    wet, dry = recorded("smooth-gain-soft"), recorded("plain-wire")
    if fault:  # of the path: the bypass has it too
        wet, dry = (apply_fault(fault, samples, rate_hz=RATE_HZ) for samples in (wet, dry))
    return characterise_judged(judged(wet), judged(dry), setting=fault or "clean")


def test_a_clean_capture_keeps_every_curve():
    expected = {
        "static",
        "timing",
        "gain_trace",
        "harmonics",
        "response",
        "sweep_harmonics",
        "noise_spectrum",
    }
    assert expected <= set(profile_of("").curves) <= set(glossary.CURVES)


EDGES_AND_TONES = {"timing", "gain_trace", "harmonics", "sweep_harmonics", "noise_under_signal"}


@pytest.mark.parametrize(
    ("fault", "costs"),
    [
        ("two-paths", EDGES_AND_TONES | {"static", "static_slope", "response"}),
        ("diffuse-tail", EDGES_AND_TONES | {"static", "static_slope", "response"}),
        ("lossy-coded", EDGES_AND_TONES | {"noise_spectrum"}),
    ],
)
def test_a_fault_that_costs_a_group_costs_its_curves(fault, costs):
    profile = profile_of(fault)
    told = next(item for item in profile.health if item.code == fault)
    groups = {name: {glossary.group(own) for own in needs} for name, needs in glossary.CURVES.items()}
    assert not [name for name in profile.curves if groups[name] & set(told.withholds)]
    assert costs <= set(told.message.split("Curves not given: ")[1].split(", "))
    for name in costs:
        with pytest.raises(KeyError, match=f"not given because of .*{fault}"):
            profile.curve(name)
        with pytest.raises(ProfileError, match=f"not given because of .*{fault}"):
            curve_of(profile, name)


def test_what_stops_a_take_spoils_bounds_as_well_as_numbers():
    taken = judged(recorded("smooth-gain-soft"))
    profile = characterise_judged(taken, taken, setting="its own bypass")
    stops = [item for item in profile.health if item.severity == "stop"]
    assert {item.code for item in stops} >= {"equals-other-capture"}
    lost = {
        name: one.reading
        for name, one in profile.quantities.items()
        if any(i.takes_back(name) for i in stops)
    }
    assert lost and not [name for name, reading in lost.items() if is_told(reading)]


def test_what_reads_a_profile_goes_on_without_its_curves():
    clean, spoiled = profile_of(""), profile_of("two-paths")
    spoiled = Profile.from_json(spoiled.to_json(), source="made.json")
    assert "Curves not given" in " ".join(summarise_all(spoiled).split())
    assert profile_drawings(spoiled, ARTICLE_LOOK) == ()  # a second path spoils them all
    assert set_drawings([clean, spoiled], ["clean", "two-paths"], ARTICLE_LOOK) == ()
    page = render_page([spoiled], title="A take", comparison=compare_profiles([clean, spoiled]))
    assert "Curves not given" in page


@pytest.mark.parametrize(
    ("half", "unit", "told"), [(19.0, "dBc", True), (21.0, "dBc", False), (21.0, "ms", True)]
)
def test_a_level_that_may_be_ten_times_larger_or_smaller_is_a_bound(half, unit, told):
    level = Quantity(-58.0, -58.0 - half, -58.0 + half, unit)
    reading = bounded({"colour.thd_at_reference": Entry(level, "997 Hz")})["colour.thd_at_reference"].reading
    if told:
        assert reading == level
    else:
        assert isinstance(reading, Unmeasured)
        assert (reading.at_most, reading.unit) == (-58.0 + half, unit)
