import numpy as np
import pytest
from judged_captures import clean_once, told
from judged_pairs import codes, judged_path, named, profile_of, recorded

from charprobe.files.sound.loudness import measure_loudness
from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.health.file import normalised
from charprobe.measuring.health.judge import judge_pair
from charprobe.simulation.rig import faults
from charprobe.values.quantity import Quantity


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("peak_dbfs", [-0.1, -1.0, -3.0])
def test_a_round_peak_is_told_at_every_word_length(bits, peak_dbfs, rng):
    samples = faults.normalise(clean_once("plain-wire"), peak_dbfs=peak_dbfs)
    step = 2.0 ** (1 - bits)
    dither = (rng.random(samples.shape) - rng.random(samples.shape)) * step
    written = np.round((samples + dither) / step) * step
    assert f"Peaks at exactly −{-peak_dbfs:.1f} dBFS" in told(written)["normalised"]
    assert "normalised" not in told(0.99 * written)


def test_normalised_exports_are_told_where_the_gains_differ():
    fault = named("normalised")
    louder = profile_of("smooth-gain-soft", fault=fault)
    assert codes(louder.health) == {"normalised"}
    assert not isinstance(louder.quantities["static.makeup_gain"].reading, Quantity)
    assert isinstance(louder.quantities["static.slope"].reading, Quantity)
    equal = profile_of("plain-wire", fault=fault)  # equal takes have equal peaks, but a round one
    assert all("Peaks at exactly −0.1 dBFS" in i.message for i in equal.health if i.code == "normalised")
    assert isinstance(equal.quantities["static.low_level_gain"].reading, Quantity)


def at_loudness(stage, delay, lufs):
    """A capture exported at a loudness, as the standard's own meter, tested by its closed form, reads it."""
    samples = recorded(stage, delay)
    heard = measure_loudness(MemoryCapture(samples, rate_hz=48_000, name="x.wav")).integrated_lufs
    return judged_path(10 ** ((lufs - heard) / 20) * samples, stage)


@pytest.mark.parametrize("lufs", [(-23.0, None), (-19.3, -19.3), (-21.37, -21.37), (-19.3, -19.9)])
def test_takes_of_one_round_loudness_or_a_usual_one_are_exports(lufs):
    wet = at_loudness("smooth-gain-soft", 37.4, lufs[0])
    dry = (
        judged_path(recorded("plain-wire", 25.8), "off")
        if lufs[1] is None
        else at_loudness("plain-wire", 25.8, lufs[1])
    )
    told = [item.message for item in judge_pair(wet, dry) if item.code == "normalised"]
    assert bool(told) == (lufs in ((-23.0, None), (-19.3, -19.3)))
    assert all("LUFS" in text for text in told)


def test_a_target_that_costs_a_twentieth_of_a_db_is_told_and_one_and_the_same_loudness_is_not():
    wet = at_loudness("smooth-gain-soft", 37.4, -23.0)
    path = recorded("plain-wire", 25.8)
    near = 10 ** ((wet[0].alignment.gain_db + 0.05) / 20) * path
    for samples, count in ((near, 1), (near * 10 ** (-0.05 / 20), 0)):
        told = [item for item in judge_pair(wet, judged_path(samples, "off")) if item.code == "normalised"]
        assert len(told) == count


def test_a_stage_that_keeps_the_round_loudness_of_the_stimulus_itself_was_brought_to_none(monkeypatch):
    monkeypatch.setattr(normalised, "estimate_loudness", lambda source: -9.0)
    monkeypatch.setattr(normalised, "_loudness_lufs", lambda source: -9.0)
    wet = judged_path(recorded("smooth-gain-soft", 37.4), "on")
    own, turned = (judged_path(gain * recorded("plain-wire", 25.8), "off") for gain in (1.0, 0.8))
    codes_of = [{item.code for item in judge_pair(wet, dry)} for dry in (own, turned)]
    assert ["normalised" in found for found in codes_of] == [False, True]


@pytest.mark.parametrize(("up_to_dbfs", "told"), [(-30.0, False), (0.0, True)])
def test_a_stage_that_leaves_alone_what_is_loud_has_the_loudness_of_the_bypass(monkeypatch, up_to_dbfs, told):
    monkeypatch.setattr(normalised, "estimate_loudness", lambda source: -9.0)
    monkeypatch.setattr(normalised, "_loudness_lufs", lambda source: -9.0)
    off = 0.8 * recorded("plain-wire", 25.8)
    level = np.array([np.abs(part).max() for part in np.array_split(off, off.size // 480)])
    gain = np.where(level < 10 ** (up_to_dbfs / 20), 1.2, 1.0)
    on = np.concatenate([g * part for g, part in zip(gain, np.array_split(off, gain.size), strict=True)])
    wet, dry = judged_path(on, "on"), judged_path(off, "off")
    assert bool(normalised.check_to_loudness(wet[0], dry[0])) == told


@pytest.mark.parametrize(("makeup_db", "told"), [(2.0, False), (2.37, True)])
def test_an_onset_let_through_with_the_make_up_between_two_levels_of_the_stimulus_is_no_export(
    makeup_db, told
):
    off = 0.8 * recorded("plain-wire", 25.8)  # bursts reach -4 dBFS, level steps -2 dBFS
    lifted = 10 ** (makeup_db / 20) * off
    on = np.where(np.abs(lifted) > np.abs(off).max(), off, lifted)  # the loudest as in the bypass
    wet, dry = judged_path(on, "on"), judged_path(off, "off")
    assert bool(normalised.check_normalised(wet[0], dry[0])) == told
