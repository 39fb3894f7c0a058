"""Noise of known power added by a device, beside a quieter rig; mutes; gain at equal level."""

import numpy as np
import pytest
from taken import RATE_HZ, reading, take_of, wire

from charprobe.measuring.chapters.noise import noise_chapter
from charprobe.measuring.health.pauses.idle_mute import check_idle_mute
from charprobe.stimulus.kinds.steady import Silence, Tones
from charprobe.values.quantity import Unmeasured

IDLE = [Silence("idle", 1.5, 1.0)]
HISS_DBFS = -90.0  # over 0 to 24 kHz
IN_BAND_DB = 10 * np.log10(19_980 / 24_000)


def hissing(rng, gain=1.0):
    def device(samples):
        return gain * samples + rng.normal(0, 10 ** (HISS_DBFS / 20) / np.sqrt(2), samples.size)

    return device


@pytest.fixture
def bypass(rng):
    return take_of(IDLE, wire, rng=rng)


def test_levels_and_change_of_known_noise(rng, bypass):
    chapter = noise_chapter(take_of(IDLE, hissing(rng, gain=2.0), rng=rng), bypass)
    # the rig's own -110 dBFS adds 0.04 dB; 0.75 s or more of noise is read to 0.08 dB (one sigma 0.05)
    assert reading(chapter, "noise.unweighted").value == pytest.approx(HISS_DBFS + IN_BAND_DB + 0.04, abs=0.2)
    a = reading(chapter, "noise.a_weighted").value
    assert a == pytest.approx(HISS_DBFS + IN_BAND_DB - 2.05 + 0.04, abs=0.25)
    ccir = reading(chapter, "noise.ccir_rms").value
    assert ccir - a == pytest.approx(3.7, abs=0.3)
    # the rig alone: -110 dBFS and the rounding of 24 bits far below
    change = reading(chapter, "noise.change")
    assert change.value == pytest.approx(20.04, abs=0.3)
    equal = reading(chapter, "noise.change_at_equal_level")
    assert equal.value == pytest.approx(20.04 - 20 * np.log10(2), abs=0.3)
    assert reading(chapter, "noise.dynamic_range").value == pytest.approx(-ccir, abs=0.3)
    assert isinstance(reading(chapter, "noise.mains"), Unmeasured)


def test_idle_mute_is_named_and_noise_taken_beside_the_tone(rng, bypass):
    def muting(samples):
        out = hissing(rng)(samples)
        padded = np.convolve(np.abs(samples), np.ones(2400), "same")
        return np.where(padded > 0, out, 0.0)

    wet = take_of(IDLE, muting, rng=rng, noise_dbfs=None)
    chapter = noise_chapter(wet, bypass)
    assert [item.code for item in check_idle_mute(wet)] == ["idle-mute"]
    assert "beside the quiet tone" in chapter.quantities["noise.unweighted"].conditions
    assert reading(chapter, "noise.unweighted").value == pytest.approx(HISS_DBFS + IN_BAND_DB, abs=0.2)


def test_gate_that_only_lowers_the_noise_is_a_mute_too(rng):
    def gating(samples):
        out = hissing(rng)(samples)
        open_ = np.convolve(np.abs(samples), np.ones(2400), "same") > 0
        return np.where(open_, out, 0.05 * out)

    assert [item.code for item in check_idle_mute(take_of(IDLE, gating, rng=rng))] == ["idle-mute"]


def test_hum_is_listed_apart(rng, bypass):
    wet = take_of(IDLE, hissing(rng), rng=rng, hum_dbfs=-80.0)
    chapter = noise_chapter(wet, bypass)
    assert reading(chapter, "noise.unweighted").value == pytest.approx(HISS_DBFS + IN_BAND_DB, abs=0.25)
    family = np.array([0.0, -12.0, -4.0, -20.0, -9.0, -26.0, -14.0, -30.0])  # the rig's, by order
    total = -80 + 10 * np.log10(np.sum(10 ** (family / 10)))
    assert reading(chapter, "noise.mains").value == pytest.approx(total, abs=0.5)
    assert any("Mains lines are present" in sentence for sentence in chapter.findings)


@pytest.mark.parametrize("hum_dbfs", [-140.0, -90.0])
def test_mains_lines_are_told_only_where_they_matter(rng, hum_dbfs):
    def device(samples):
        hiss = rng.normal(0, 10 ** ((-90 if hum_dbfs > -130 else -160) / 20) / np.sqrt(2), samples.size)
        return (
            samples + hiss + 10 ** (hum_dbfs / 20) * np.cos(2 * np.pi * 50 / 48_000 * np.arange(samples.size))
        )

    # hiss of -90 dBFS is -123 dBFS in the third octave at 50 Hz, and one bin of 1.3 Hz -132 dBFS; a line of
    # -140 dBFS is clear of its hiss but below anything that matters
    hum = take_of(IDLE, device, rng=rng, noise_dbfs=None, bits=None)
    chapter = noise_chapter(hum, None)
    told = any("Mains lines are present" in sentence for sentence in chapter.findings)
    assert told == (hum_dbfs > -130)
    mains = reading(chapter, "noise.mains")
    assert isinstance(mains, Unmeasured) == (hum_dbfs < -130)


def test_without_a_tone_or_bypass_the_reasons_are_named(rng):
    chapter = noise_chapter(take_of([Silence("idle", 1.0)], hissing(rng), rng=rng), None)
    assert "quiet tone" in reading(chapter, "noise.dynamic_range").reason
    assert "bypass" in reading(chapter, "noise.change").reason


def test_recipe_without_silence_names_one_that_has_it(rng):
    chapter = noise_chapter(take_of([Tones("h", (997.0,), (-20.0,), 0.5)], wire, rng=rng), None)
    assert all(isinstance(entry.reading, Unmeasured) for entry in chapter.quantities.values())
    assert "silence" in reading(chapter, "noise.a_weighted").reason


def test_a_foreign_tone_on_a_multiple_of_the_mains_is_noise_and_no_hum(rng, bypass):
    def whining(samples):
        tone = 10 ** (-75 / 20) * np.cos(2 * np.pi * 1000 / 48_000 * np.arange(samples.size))
        return hissing(rng)(samples) + tone

    chapter = noise_chapter(take_of(IDLE, whining, rng=rng), bypass)
    assert isinstance(reading(chapter, "noise.mains"), Unmeasured)
    assert reading(chapter, "noise.unweighted").value == pytest.approx(-75 + 0.1, abs=0.2)  # tone and hiss


def test_noise_is_no_better_known_than_a_gain_that_moves(rng, bypass):
    def sinking(samples):
        return 10 ** (-0.3 * np.arange(samples.size) / RATE_HZ / 20) * hissing(rng)(samples)

    chapter = noise_chapter(take_of(IDLE, sinking, rng=rng), bypass)
    found = reading(chapter, "noise.unweighted")
    # from the first of the silence to the last of the tone it sinks by 0.75 dB
    assert 0.75 < found.high - found.low < 4
    # A-weighted noise lies 2.05 dB lower, CCIR-RMS 3.7 dB above that
    assert reading(chapter, "noise.dynamic_range").at_least < -(found.low - 2.05 + 3.7)
