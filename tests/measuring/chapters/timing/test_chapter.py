from functools import cache

import numpy as np
import pytest

from charprobe.estimators.static.curve import StaticCurve
from charprobe.estimators.static.points import StaticPoint
from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.chapters.timing.chapter import ATTACK_NAMES, RELEASE_NAMES, timing_chapter
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.profile.glossary import term
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.true_times import true_burst
from charprobe.stimulus.recipe import parse_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.quantity import Quantity, Unmeasured

RATE_HZ = 48_000
LOW, HIGH, CARRIER_HZ, LEAD_S, HOLD_S, REST_S = -40.0, -4.0, 3989.0, 0.12, 0.3, 0.9
RECIPE = f"""
schema = "charprobe.recipe/1"
name = "timing-test"
summary = "one reference step and two burst lengths"
[[segment]]
kind = "bursts"
name = "reference"
carrier_hz = {CARRIER_HZ}
phases = 4
low_dbfs = {LOW}
high_dbfs = {HIGH}
lead_s = {LEAD_S}
hold_s = {HOLD_S}
release_s = {REST_S}
reference = true
[[segment]]
kind = "burst_lengths"
name = "lengths"
carrier_hz = {CARRIER_HZ}
phases = 2
low_dbfs = {LOW}
high_dbfs = {HIGH}
lead_s = {LEAD_S}
holds_s = [0.1, 1.0]
release_s = {REST_S}
"""
STEADY = """
schema = "charprobe.recipe/1"
name = "no-bursts"
summary = "nothing to time"
[[segment]]
kind = "tones"
name = "tones"
frequencies_hz = [443, 2503]
levels_dbfs = [-20]
tone_s = 0.3
"""


@cache
def take(stage_name, delay, text):
    rng = np.random.default_rng([round(100 * delay), *stage_name.encode()])
    stimulus = lay_out(parse_recipe(text, source="test.toml"), rate_hz=RATE_HZ, take=1)
    through = make_stage(stage_name).process(render(stimulus), rate_hz=RATE_HZ, rng=rng).samples
    rig = Rig(
        delay_samples=delay,
        noise_dbfs=-110.0,
        bits=24,
        ac_corner_hz=4.0,
        drift_ppm=23.0,
        lead_s=0.3,
        tail_s=0.3,
    )
    recorded = rig.record(through, rate_hz=RATE_HZ, rng=rng)
    return place_take(Track(MemoryCapture(recorded, rate_hz=RATE_HZ, name=stage_name), 0, stimulus))


def takes(stage_name, *, text=RECIPE):
    return take(stage_name, 37.37, text), take("plain-wire", 25.81, text)


@pytest.mark.parametrize(
    "name",
    ["smooth-gain-hard", "held-release", "feedforward-peak-hard", "feedforward-rms-hard", "fast-limiter"],
)
def test_times_equal_those_of_the_stages_own_gain(name, rng):
    chapter = timing_chapter(*takes(name), None)
    truth = true_burst(
        make_stage(name), low_dbfs=LOW, high_dbfs=HIGH, carrier_hz=CARRIER_HZ, lead_s=LEAD_S, hold_s=HOLD_S,
        release_s=REST_S, rate_hz=RATE_HZ, rng=rng,
    )  # fmt: skip
    for quantity in ("t63", "t90"):
        found = chapter.quantities[f"attack.{quantity}"].reading.value
        # the goal: 2 % or one sample
        assert found == pytest.approx(getattr(truth.attack, f"{quantity}_s"), rel=0.02, abs=1 / RATE_HZ)
    for quantity in ("t50", "t63", "t90"):
        found = chapter.quantities[f"release.{quantity}"].reading.value
        assert found == pytest.approx(getattr(truth.release, f"{quantity}_s"), rel=0.01)  # the goal


def test_hold_look_ahead_and_kind():
    held = timing_chapter(*takes("held-release"), None).quantities
    # the detector lags by up to 0.15 ms, which the stage states beside its truth
    assert held["release.hold"].reading.value == pytest.approx(0.04, abs=3e-4)
    assert held["release.stages"].reading.value == 1
    ahead = timing_chapter(*takes("lookahead-limiter"), None).quantities
    assert ahead["attack.lookahead"].reading.value == pytest.approx(0.0015, abs=1.5e-4)
    straight = timing_chapter(*takes("feedforward-rms-hard"), None)
    # a mean square falls by 4.343/tau dB/s, and half of that at a ratio of 2
    assert straight.quantities["release.rate"].reading.value == pytest.approx(4.343 / 0.03 / 2, rel=0.01)
    assert any("straight line" in sentence for sentence in straight.findings)


def test_memory_and_gaps_that_are_too_short_are_told():
    chapter = timing_chapter(*takes("two-stage-release"), None)
    assert "gap-too-short" in {item.code for item in chapter.health}
    assert isinstance(chapter.quantities["release.t90"].reading, Unmeasured)
    plain = timing_chapter(*takes("smooth-gain-hard"), None)
    memory = plain.quantities["release.memory"].reading
    assert memory.low <= 1.003
    assert memory.high >= 0.997
    assert not plain.health


def level_steps(stage, *, low_off_db=0.0):
    """Settled level steps on the closed form of a stage, those of low level off by so much."""
    levels = np.arange(-45.0, 0.0, 2.5)
    gains = stage.static_gain_db(levels) + np.where(levels < HIGH - 10, low_off_db, 0.0)
    rows = zip(levels.tolist(), gains.tolist(), strict=True)
    points = (StaticPoint(x, x + g, 1e-4, "rising", True, 0.0, 0.0) for x, g in rows)
    return StaticCurve(tuple(points), None, 0.0)


def test_a_release_that_stops_short_of_the_gain_at_rest_is_a_bound():
    stage, (wet, bypass) = make_stage("smooth-gain-hard"), takes("smooth-gain-hard")
    agreeing = timing_chapter(wet, bypass, level_steps(stage))
    assert isinstance(agreeing.quantities["release.t90"].reading, Quantity)
    assert isinstance(agreeing.quantities["attack.t90"].reading, Quantity)
    assert not agreeing.health
    # to steps of 2 dB more gain the same traces are those of a stage with a slower recovery still to come
    short = timing_chapter(wet, bypass, level_steps(stage, low_off_db=2.0))
    release, attack = (short.quantities[f"{edge}.t90"].reading for edge in ("release", "attack"))
    assert isinstance(release, Unmeasured)
    assert release.at_least >= agreeing.quantities["release.t50"].reading.low
    assert isinstance(attack, Unmeasured)
    assert "below the gain at rest" in attack.reason
    (told,) = (item for item in short.health if item.code == "gap-too-short")
    assert "2 dB below the gain at rest" in told.message


def test_a_wire_has_no_times_and_says_why():
    chapter = timing_chapter(*takes("plain-wire"), None)
    reading = chapter.quantities["attack.t63"].reading
    assert isinstance(reading, Unmeasured)
    assert "nothing to time" in reading.reason


def test_without_a_bypass_the_times_stay_and_the_conditions_say_so():
    wet, _ = takes("smooth-gain-hard")
    entry = timing_chapter(wet, None, None).quantities["attack.t63"]
    assert "no bypass" in entry.conditions
    assert entry.reading.value == pytest.approx(0.00506, rel=0.02)


def test_a_recipe_without_bursts_leaves_every_name_unmeasured_with_a_way_on():
    wet, dry = takes("plain-wire", text=STEADY)
    chapter = timing_chapter(wet, dry, None)
    for entry in chapter.quantities.values():
        assert isinstance(entry.reading, Unmeasured)
        assert "quick" in entry.reading.next or "standard" in entry.reading.next
    assert not chapter.curves


def test_names_units_and_columns_are_the_published_ones():
    chapter = timing_chapter(*takes("smooth-gain-hard"), None)
    for name in (*ATTACK_NAMES, *RELEASE_NAMES):
        assert chapter.quantities[name].reading.unit == term(name).unit
    times = [("attack", name) for name in ("t50", "t63", "t90", "within_2db", "within_3db")]
    times += [("release", name) for name in ("t50", "t63", "t90", "within_2db", "within_4db")]
    assert set(chapter.curves["timing"].columns) == {
        "from_dbfs", "to_dbfs", "carrier_hz", "hold_s", "reduction_db", "attack_overshoot_db", "resolution_s",
        "attack_settled", "release_settled",
        *(f"{edge}_{name}{end}_s" for edge, name in times for end in ("", "_low", "_high")),
    }  # fmt: skip
    assert list(chapter.curves["gain_trace"].columns) == ["step", "edge", "time_s", "gain_db", "std_db"]
    rows = len(chapter.curves["timing"].columns["hold_s"])
    assert rows == 3
    assert set(chapter.curves["gain_trace"].columns["step"]) == set(range(rows))
    assert np.all(np.isfinite(chapter.curves["gain_trace"].columns["gain_db"]))
    detail = chapter.curves["attack_detail"].columns
    assert detail["passes_db"][0] == pytest.approx(15, abs=0.1)  # (-4 + 24) * 3/4
    overshoot = chapter.quantities["attack.overshoot"].reading
    assert isinstance(overshoot, Unmeasured)  # one pole in dB comes to its goal from one side only
    assert overshoot.reason == "none stands out of the noise"
    assert 0 < overshoot.at_most < 0.001
