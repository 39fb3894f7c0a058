import dataclasses

import numpy as np
import pytest
import soundfile
from held import on_24_bit, shifted

from charprobe.listening.difference import take_difference
from charprobe.listening.match import RULES, TOLERANCE_DB, write_matched
from charprobe.listening.pairing import pair_files
from charprobe.listening.programme_gain import trace_gain
from charprobe.listening.what_it_did import describe
from charprobe.stimulus.kinds.programme import generate

RATE_HZ = 48_000
GAIN, DELAY = 0.8, 37.25
FLAT = np.ones((1, 1))


@pytest.fixture(scope="module")
def music():
    return generate("music", seconds=8.0, rate_hz=RATE_HZ, rng=np.random.default_rng(3))


@pytest.fixture(scope="module")
def moved(music):
    """A pair that differs in gain and delay alone, and its gain trace."""
    pair = pair_files(
        on_24_bit(music, rate_hz=RATE_HZ), on_24_bit(GAIN * shifted(music, DELAY), rate_hz=RATE_HZ)
    )
    return pair, trace_gain(pair.dry, pair.processed, dry_channels=pair.dry_channels, response=FLAT)


@pytest.fixture(scope="module")
def bent(music):
    """A pair whose gain swings between -7 and -1 dB every two seconds, and its gain trace."""
    slow = np.sin(2 * np.pi * 0.5 * np.arange(music.size) / RATE_HZ)
    pair = pair_files(
        on_24_bit(music, rate_hz=RATE_HZ), on_24_bit(music * 10 ** ((-4 + 3 * slow) / 20), rate_hz=RATE_HZ)
    )
    return pair, trace_gain(pair.dry, pair.processed, dry_channels=pair.dry_channels, response=FLAT)


def written(folder, case, rule):
    pair, trace = case
    paths = folder / "a.wav", folder / "b.wav"
    matched = write_matched(
        pair,
        trace=trace,
        rule=rule,
        dry_path=paths[0],
        processed_path=paths[1],
    )
    return matched, paths


def test_gain_and_delay_alone_null_below_80_db(moved):
    pair, trace = moved
    assert abs(pair.delay.value - DELAY) < 0.02  # the stated goal for delay
    null = take_difference(pair, trace=trace)
    depth = {rung.step: rung.depth_db for rung in null.rungs}
    assert depth["clock drift"] < -80
    assert depth["gain"] > -40  # a quarter sample and 37 more are not removed by a gain
    assert abs(null.gain_db - 20 * np.log10(GAIN)) < 1e-3  # an 80 dB null bounds the gain error at 0.0009 dB
    assert [rung.limit for rung in null.rungs[1:2]] == ["time"]


def test_sound_that_cannot_be_read_between_samples_is_left_out_of_the_null_and_said(rng):
    """Noise up to half the rate, half a sample late by a phase ramp: nothing but gain and delay differ."""
    noise = 0.1 * rng.standard_normal(4 * RATE_HZ)
    pair = pair_files(
        on_24_bit(noise, rate_hz=RATE_HZ), on_24_bit(GAIN * shifted(noise, 100.5), rate_hz=RATE_HZ)
    )
    null = take_difference(pair, trace=trace_gain(pair.dry, pair.processed, dry_channels=(0,), response=FLAT))
    depth = {rung.step: rung.depth_db for rung in null.rungs}
    assert (
        depth["delay"] < -95
    )  # 24 bits leave -117 dB of noise at -20 dBFS, the reading between samples -110
    assert null.rungs[-1].limit == "noise"
    assert 22_400 < null.top_hz < 22_600
    assert "Sound above 22.6 kHz, which cannot be read between samples, is left out." in null.sentence


def test_a_moving_gain_is_named_level(bent):
    null = take_difference(bent[0], trace=bent[1])
    assert {rung.limit for rung in null.rungs} == {"level"}
    assert null.sentence.endswith("limited by level (a gain that differs or moves).")


@pytest.mark.parametrize("rule", RULES)
def test_written_files_match_by_the_rule_and_are_alike_in_form(tmp_path, bent, rule):
    matched, paths = written(tmp_path, bent, rule)
    assert matched.rule == rule
    assert abs(matched.after_db[rule]) <= TOLERANCE_DB
    assert max(matched.dry_gain_db, matched.processed_gain_db) <= 0
    dry, processed = (soundfile.info(path) for path in paths)
    assert (dry.frames, dry.samplerate, dry.subtype) == (processed.frames, processed.samplerate, "PCM_24")
    assert len({path.stat().st_size for path in paths}) == 1


def test_rms_of_the_files_read_back_by_another_reader_agrees(tmp_path, bent):
    _, paths = written(tmp_path, bent, "rms")
    rms = [np.sqrt(np.mean(soundfile.read(path)[0] ** 2)) for path in paths]
    assert abs(20 * np.log10(rms[1] / rms[0])) <= TOLERANCE_DB


def test_the_gain_over_time_is_the_one_applied(bent):
    found = describe(bent[0], trace=bent[1])
    trace = found.trace
    truth = -4 + 3 * np.sin(2 * np.pi * 0.5 * trace.time_s)
    assert np.sqrt(np.mean((trace.gain_db - truth)[trace.known] ** 2)) < 0.1  # the stated goal
    assert found.histogram_share.sum() == pytest.approx(1)
    assert np.all((found.level_out_dbfs - found.level_in_dbfs > -7.1) & (found.level_out_dbfs < 0))


@pytest.mark.parametrize("rule", RULES)
def test_a_gain_that_is_known_nowhere_leaves_the_other_rules(tmp_path, moved, rule):
    pair, trace = moved
    blind = dataclasses.replace(trace, known=np.zeros_like(trace.known))
    matched, _ = written(tmp_path, (pair, blind), rule)
    assert matched.rule == ("rms" if rule == "low-level" else rule)
    assert "low-level" not in matched.before_db
    assert any("known at no moment" in note for note in matched.notes) == (rule == "low-level")
    assert abs(matched.after_db[matched.rule]) <= TOLERANCE_DB
