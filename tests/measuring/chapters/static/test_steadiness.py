"""Gear whose gain moves a little during the take of a compressor that has a closed form."""

from dataclasses import replace

import numpy as np
import pytest
from taken import reading, take_of, wire

from charprobe.estimators.static.curve import StaticCurve
from charprobe.estimators.static.level_steps import measure_level_steps
from charprobe.estimators.static.points import StaticPoint
from charprobe.measuring.chapters.static.chapter import static_chapter
from charprobe.measuring.chapters.static.steadiness import drift_of_bursts, drift_of_pairs
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig import faults
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Silence, Tones
from tests.benchmarks.zoo.catalogue import stages

SEGMENTS = (Silence("idle", 0.5, tone_s=0.5), LevelSteps("steps", 997.0, -50.0, -2.0, 3.0, 0.2))
TRUTH = {"static.makeup_gain": 3.0, "static.threshold_1db": -24 + 4 / 3, "static.hysteresis": 0.0}  # hard 4:1
AT = {"within the steps": 0.55, "before the steps": 0.36}


def played(rng, stage, *, gain_db=0.0, at=0.5, ramp_db=0.0):
    def device(samples):
        out = make_stage(stage).process(samples, rate_hz=48_000, rng=rng).samples[:, None]
        out = faults.step_gain(out, at=int(at * out.shape[0]), gain_db=gain_db)
        return faults.drift_gain(out, total_db=ramp_db)[:, 0]

    return take_of(SEGMENTS, device, rng=rng)


def told(chapter):
    return {item.code for item in chapter.health} & {"gain-step", "level-drift"}


@pytest.fixture(scope="module")
def bypass():
    return played(np.random.default_rng(5), "plain-wire")


@pytest.mark.parametrize("gain_db", [0.1, -0.03, 0.004])
@pytest.mark.parametrize("when", AT)
def test_a_step_of_the_gain_is_told_and_stays_inside_the_intervals(rng, bypass, gain_db, when):
    wet = played(rng, "smooth-gain-hard", gain_db=gain_db, at=AT[when])
    chapter, _ = static_chapter(wet, bypass)
    assert told(chapter) == ({"gain-step"} if abs(gain_db) > 0.01 else set())
    for name, truth in TRUTH.items():
        found = reading(chapter, name)
        assert found.low <= truth <= found.high, name


def test_a_drift_of_the_gain_is_told_and_stays_inside_the_intervals(rng, bypass):
    chapter, _ = static_chapter(played(rng, "smooth-gain-hard", ramp_db=0.06), bypass)
    assert told(chapter) & {"level-drift", "gain-step"}
    found = reading(chapter, "static.makeup_gain")
    assert found.low <= 3.0 <= found.high


def test_a_bypass_that_steps_widens_the_axis(rng, bypass):
    wet = played(rng, "smooth-gain-hard")
    clean, _ = static_chapter(wet, bypass)
    stepped, _ = static_chapter(wet, played(rng, "plain-wire", gain_db=0.05, at=AT["before the steps"]))
    assert not told(clean)
    assert reading(clean, "static.makeup_gain").std < 0.001
    found = reading(stepped, "static.makeup_gain")
    assert found.low <= 3.0 <= found.high


def test_a_gain_that_follows_the_mean_of_what_it_hears_is_said_to_rest_nowhere(rng):
    def against_its_mean(samples):  # 0.5 dB down for each dB over the mean of 2 s: no level has a gain
        size = 480
        blocks = np.abs(samples[: samples.size // size * size]).reshape(-1, size).max(axis=1)
        level = 20 * np.log10(np.maximum(blocks, 1e-3))
        mean, keeps = np.full(level.size, -60.0), np.exp(-size / 48_000 / 2.0)
        for n in range(1, level.size):
            mean[n] = level[n] + keeps * (mean[n - 1] - level[n])
        gain = np.interp(np.arange(samples.size), size * np.arange(level.size), -0.5 * (level - mean))
        return samples * 10 ** (gain / 20)

    chapter, curve = static_chapter(take_of(SEGMENTS, against_its_mean, rng=rng), None)
    assert curve.restless_db > 0.1 and curve.level_std_db >= curve.restless_db
    assert any("something slower" in item.message for item in chapter.health)
    plain, settled = static_chapter(played(rng, "smooth-gain-hard"), None)
    assert settled.restless_db == 0
    assert not any("something slower" in item.message for item in plain.health)


@pytest.mark.parametrize(("memory_db", "gain_db"), [(0.06, 0.0), (0.06, 0.5), (0.0, 0.06)])
def test_what_fades_since_the_loudest_step_is_memory_and_no_step_in_time(rng, memory_db, gain_db):
    take = take_of(SEGMENTS, lambda samples: samples, rng=rng)
    (segment,) = take.stimulus.of_kind(LevelSteps)
    fit = measure_level_steps(take.intact(segment), take.segment(segment))
    loudest = len(fit.steps) // 2
    taken_db = [  # after the loudest step: what is left of a memory that fades as one over time, and a knob
        (memory_db * loudest / (at - loudest) + gain_db if at > loudest else 0.0)
        for at in range(len(fit.steps))
    ]
    steps = [
        replace(step, level_dbfs=step.tone.level_dbfs - gone_db, std_db=0.001, settled=True)
        for step, gone_db in zip(fit.steps, taken_db, strict=True)
    ]
    moved = drift_of_pairs(take, replace(fit, steps=tuple(steps)))
    assert moved.size_db == pytest.approx(-gain_db - (memory_db if gain_db else 0.0), abs=memory_db + 1e-6)
    assert (moved.size_db == 0) is (gain_db == 0)  # nothing of it is told
    assert 1.96 * moved.std_db > memory_db + gain_db  # either way intervals reach over all of it


@pytest.mark.parametrize("gain_db", [0.0, 0.1])
def test_bursts_played_again_say_what_moved_where_no_level_rests(rng, gain_db):
    bursts = Bursts("reference", 3989.0, 5, -40.0, -4.0, 0.15, 0.2, 0.4, reference=True)

    def device(samples):  # a gain that is always on its way, the same after every edge
        out = make_stage("slow-release").process(samples, rate_hz=48_000, rng=rng).samples
        out[int(0.69 * out.size) :] *= 10 ** (gain_db / 20)
        return out

    seen = drift_of_bursts(take_of((bursts,), device, rng=rng))
    # and how surely the step is known, 0.0013 dB
    assert 0.99 * gain_db < 1.96 * seen.std_db < gain_db + 0.002 + 1.96 * 0.0013


def test_a_plateau_of_a_curve_without_a_model_is_where_its_lowest_levels_agree():
    gains = {-50.0: 1.0, -45.0: 1.001, -40.0: 0.999, -35.0: 1.0, -30.0: 0.0, -25.0: -0.5, -20.0: -3.0}
    rows = (StaticPoint(x, x + g, 1e-3, "rising", True, 0.0, 0.0, used=True) for x, g in gains.items())
    curve = StaticCurve(tuple(rows), None, 0.0)
    assert curve.plateau_dbfs == (-50.0, -35.0)


@pytest.mark.parametrize("before", [0.85, 0.05])
def test_tones_after_the_steps_tell_that_these_had_a_gain_of_their_own(rng, before):
    tones = Tones("after", frequencies_hz=(997.0,), levels_dbfs=(-40.0,), tone_s=0.3)
    dry = take_of((*SEGMENTS, tones), wire, rng=rng)
    first, last = (dry.stimulus.segments[at].span.start for at in (1, 2))

    def device(samples, gain_db):  # one gain from before the quiet tone, or from behind it, until the tones
        out = make_stage("smooth-gain-hard").process(samples, rate_hz=48_000, rng=rng).samples
        out[first - round(before * 48_000) : last - 2400] *= 10 ** (gain_db / 20)
        return out

    for gain_db in (0.0, 0.05, -0.5):
        wet = take_of((*SEGMENTS, tones), lambda x, by=gain_db: device(x, by), rng=rng)
        chapter, _ = static_chapter(wet, dry)
        assert told(chapter) == ({"gain-step"} if gain_db else set())
        found = reading(chapter, "static.makeup_gain")
        assert found.low <= 3.0 <= found.high
        assert gain_db or found.high - found.low < 0.01


def test_a_bend_that_no_model_holds_is_no_step_in_time(rng):
    def rounded(samples):  # a gain at rest below its threshold, and a clip that rounds by 0.1 dB just there
        out = make_stage("smooth-gain-hard").process(samples, rate_hz=48_000, rng=rng).samples
        return out / (1 + np.abs(out / 0.25) ** 3) ** (1 / 3)

    dry = take_of(SEGMENTS, wire, rng=rng, noise_dbfs=-86.0)
    for device in (rounded, lambda x: stages(1659)["rounded-ceiling"].process(x, 48_000).sound):
        chapter, _ = static_chapter(take_of(SEGMENTS, device, rng=rng, noise_dbfs=-86.0), dry)
        assert not told(chapter)


def test_a_plateau_that_bends_is_known_where_it_does_not_if_tones_come_back(rng):
    rising = LevelSteps("steps", 997.0, -70.0, -20.0, 1.0, 0.2, falling=False)
    tones = Tones("after", frequencies_hz=(997.0,), levels_dbfs=(-50.0, -40.0, -30.0, -24.0), tone_s=0.3)

    def rounded(samples):  # 0.02 dB less at the highest step, 0.0002 dB at -40 dBFS: too little for a model
        return samples / np.sqrt(1 + (samples / 1.2) ** 2)

    takes = (take_of((rising, tones), device, rng=rng) for device in (rounded, wire))
    chapter, curve = static_chapter(*takes)
    found = reading(chapter, "static.makeup_gain")
    assert not told(chapter) and found.low <= 0 <= found.high
    assert curve.drift_std_db < 0.001 and found.high - found.low < 0.004  # a fifth of the bend
