from functools import cache

import numpy as np
import pytest
from taken import reading, take_of, wire

from charprobe.estimators.static.curve import StaticCurve
from charprobe.estimators.static.points import StaticPoint
from charprobe.measuring.chapters.timing.chapter import timing_chapter
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.values.quantity import Quantity, Unmeasured
from tests.true_bursts import true_burst

RATE_HZ, CARRIER_HZ, HIGH = 48_000, 3989.0, -4.0
LEAD_S, HOLD_S, REST_S = 0.3, 0.3, 3.5


def bursts(name, low_dbfs, *, reference=False):
    return Bursts(
        name=name, carrier_hz=CARRIER_HZ, phases=3, low_dbfs=low_dbfs, high_dbfs=HIGH, lead_s=LEAD_S,
        hold_s=HOLD_S, release_s=REST_S, reference=reference,
    )  # fmt: skip


def segments_of(lows):
    return [bursts(f"low-{i}", low, reference=i == 0) for i, low in enumerate(lows)]


@cache
def bypass(lows):
    return take_of(segments_of(lows), wire, rng=np.random.default_rng(6))


@cache
def chapter_of(name, *, static=None, lows=(-40.0, -10.0)):
    rng = np.random.default_rng(list(name.encode()))

    def device(samples):
        return make_stage(name).process(samples, rate_hz=RATE_HZ, rng=rng).samples

    return timing_chapter(take_of(segments_of(lows), device, rng=rng), bypass(lows), static)


def closed_form(stage):
    levels = np.arange(-45.0, 0.0, 2.5)
    rows = zip(levels.tolist(), stage.static_gain_db(levels).tolist(), strict=True)
    return StaticCurve(
        tuple(StaticPoint(x, x + g, 1e-4, "rising", True, 0.0, 0.0) for x, g in rows), None, 0.0
    )


def own_t63(stage, low_dbfs, rng):
    return true_burst(
        stage, low_dbfs=low_dbfs, high_dbfs=HIGH, carrier_hz=CARRIER_HZ, lead_s=LEAD_S, hold_s=HOLD_S,
        release_s=REST_S, rate_hz=RATE_HZ, rng=rng,
    ).release.t63_s  # fmt: skip


@pytest.mark.parametrize("name", ["feedback-hard", "smooth-gain-hard"])
def test_the_ratio_is_that_of_the_stages_own_gain(name, rng):
    stage = make_stage(name)
    ratio = reading(chapter_of(name), "release.open_loop_ratio")
    # both releases are told to 1 %, the goal
    assert ratio.value == pytest.approx(own_t63(stage, -40.0, rng) / own_t63(stage, -10.0, rng), rel=0.02)


def test_a_feedback_stage_is_told_and_its_ratio_lies_below_the_static_one():
    stage = make_stage("feedback-hard")
    chapter = chapter_of("feedback-hard")
    ratio = reading(chapter, "release.open_loop_ratio")
    assert 1.5 < ratio.value <= 1 / stage.truth["static.slope"].value
    assert any("feedback" in sentence for sentence in chapter.findings)


@pytest.mark.parametrize("name", ["smooth-gain-hard", "two-stage-release", "feedforward-rms-hard"])
def test_no_feedback_is_claimed_of_other_stages(name):
    assert not any("senses the output" in sentence for sentence in chapter_of(name).findings)


def test_without_bursts_within_the_reduction_there_is_no_ratio():
    ratio = reading(chapter_of("plain-wire"), "release.open_loop_ratio")
    assert isinstance(ratio, Unmeasured)
    assert "low level" in ratio.reason


def test_bursts_that_never_leave_the_reduction_give_no_ratio():
    static = closed_form(make_stage("smooth-gain-hard"))
    chapter = chapter_of("smooth-gain-hard", static=static, lows=(-20.0, -10.0))
    assert not isinstance(reading(chapter, "release.open_loop_ratio"), Quantity)
