"""Faults of one capture, injected by code that shares nothing with the detectors, and told by their names."""

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from charprobe.cli import main
from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise
from charprobe.measuring.health.file.copies import check_copy, sound_hash
from charprobe.measuring.health.judge import judge_capture
from charprobe.simulation.devices.catalogue import make_stage, stage_names
from charprobe.simulation.rig import faults
from charprobe.simulation.rig.fault_catalogue import apply_fault
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.cue_sheet import CueSheet, render_cue_sheet
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Silence, Tones
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.stimulus.recipe import Recipe, load_recipe
from charprobe.stimulus.render import lay_out, render, render_sides
from charprobe.values.quantity import Quantity

RATE = 48_000
RECIPE = Recipe(
    "short",
    "a little of every topic",
    (
        Silence("idle", 1.5, 1.0),
        Sweep("response", 20.0, 20_000.0, 1.5, -30.0),
        LevelSteps("steps", 997.0, -50.0, -2.0, 3.0, 0.25, True, gap_s=1.0),
        Tones("tones", (110.0, 997.0, 5003.0), (-40.0, -20.0, -6.0), 0.3),
        Bursts("reference", 3989.0, 3, -40.0, -4.0, 0.15, 0.2, 0.6, reference=True),
    ),
)
STAGES = ("plain-wire", "feedforward-rms-hard", "odd-colour")


def clean(stage, rng, *, noise_dbfs=-110.0):
    sound = render(lay_out(RECIPE, rate_hz=RATE, take=1))
    out = 0.8 * make_stage(stage).process(sound, rate_hz=RATE, rng=rng).samples
    rig = Rig(
        delay_samples=37.4, noise_dbfs=noise_dbfs, ac_corner_hz=2.0, drift_ppm=23.0, lead_s=0.3, tail_s=0.3
    )
    return rig.record(out, rate_hz=RATE, rng=rng)


@cache
def clean_once(stage):
    """A clean capture that all tests share; what they do to it is theirs."""
    capture = clean(stage, np.random.default_rng(list(stage.encode())))
    capture.flags.writeable = False
    return capture


def judged(samples, stimulus=None, channel=0):
    capture = MemoryCapture(samples, rate_hz=RATE, name="made.wav")
    return judge_capture(capture, stimulus or lay_out(RECIPE, rate_hz=RATE, take=1), channel)


def told(samples):
    """Code -> message of what is worse than a note."""
    return {item.code: item.message for item in judged(samples)[1] if item.severity != "note"}


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize(
    ("fault", "code"),
    [
        ("spur", "spur"), ("hum", "hum"), ("wow", "clock-drift"), ("lossy-coded", "lossy-coded"),
        ("rate-converted-twice", "rate-converted"), ("edges-faded", "start-missing"), ("edges-faded", "truncated"),
        ("start-missing", "start-missing"), ("gap-edited", "gap-edited"), ("normalised", "normalised"),
        ("idle-mute", "idle-mute"), ("low-level", "low-level"),
    ],
)  # fmt: skip
def test_a_fault_is_told_by_its_name(fault, code, stage):
    assert code in told(apply_fault(fault, clean_once(stage), rate_hz=RATE))


@pytest.mark.parametrize("stage", stage_names())
def test_clean_captures_of_every_stage_are_blamed_for_nothing(stage):
    blamed = set(told(clean_once(stage))) - {"clipped-below-full-scale"}  # limiters have ceilings
    if stage == "noise-gate":
        blamed -= {"idle-mute"}
    assert not blamed


@pytest.mark.parametrize("frequency_hz", [437.0, 1000.0, 8000.0, 15_734.0])
@pytest.mark.parametrize("level_dbfs", [-100.0, -70.0])
def test_a_foreign_tone_is_named_with_frequency_and_level(frequency_hz, level_dbfs):
    samples = faults.add_tone(
        clean_once("plain-wire"), frequency_hz=frequency_hz, level_dbfs=level_dbfs, rate_hz=RATE
    )
    message = told(samples)["spur"]
    assert f"{frequency_hz / (1 + 23e-6):.0f} Hz at −{-level_dbfs:.0f} dBFS" in message


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_a_mains_family_is_hum_and_no_foreign_tone(mains_hz):
    samples = clean_once("plain-wire")
    for order, level_dbfs in ((1, -70.0), (2, -82.0), (3, -74.0), (9, -90.0)):
        samples = faults.add_tone(
            samples, frequency_hz=1.001 * order * mains_hz, level_dbfs=level_dbfs, rate_hz=RATE
        )
    found = told(samples)
    assert f"{mains_hz:.0f} Hz family" in found["hum"]
    assert "spur" not in found


def test_a_foreign_tone_beside_a_tone_is_no_automatic_gain(rng):
    stimulus = lay_out(RECIPE, rate_hz=RATE, take=1)
    captures = [
        MemoryCapture(apply_fault("spur", clean(stage, rng), rate_hz=RATE), rate_hz=RATE, name=f"{stage}.wav")
        for stage in ("feedforward-rms-hard", "plain-wire")
    ]
    profile = characterise(captures[0], stimulus, channel=1, setting="x", bypass=captures[1])
    assert {item.code for item in profile.health} >= {"spur"}
    assert not {item.code for item in profile.health} & {"automatic-gain", "hum", "idle-mute"}


@pytest.mark.parametrize("depth_ppm", [3.0, 300.0])
def test_a_wandering_clock_is_told_with_its_size(depth_ppm):
    samples = faults.wow(clean_once("plain-wire"), depth_ppm=depth_ppm, frequency_hz=0.7, rate_hz=RATE)
    message = told(samples)["clock-drift"]
    size = float(message.split(" ppm")[0].split()[-1])
    assert 0.5 * depth_ppm < size < 1.2 * depth_ppm  # a sine spends most of its time near its ends


def test_a_wall_in_the_spectrum_is_told_with_its_frequency(rng):
    capture = clean("plain-wire", rng, noise_dbfs=-90.0)
    spectrum = np.fft.rfft(capture, axis=0)
    spectrum[np.fft.rfftfreq(capture.shape[0], 1 / RATE) > 16_000] = 0
    walled = np.fft.irfft(spectrum, capture.shape[0], axis=0)
    assert "Nothing above 16.0 kHz" in told(np.round(walled * 2**23) / 2**23)["lossy-coded"]


def test_lossy_coding_costs_harmonics_noise_and_attack_only(rng):
    stimulus = lay_out(RECIPE, rate_hz=RATE, take=1)
    samples = apply_fault("lossy-coded", clean("feedforward-rms-hard", rng), rate_hz=RATE)
    capture = MemoryCapture(samples, rate_hz=RATE, name="coded.wav")
    profile = characterise(capture, stimulus, channel=1, setting="x", bypass=None)
    measured = {
        name.split(".")[0] for name, e in profile.quantities.items() if isinstance(e.reading, Quantity)
    }
    assert "static" in measured
    assert not measured & {"colour", "noise", "attack"}


@pytest.mark.parametrize("stage", STAGES)
def test_exchanged_stretches_are_placed(stage):
    capture = clean_once(stage)
    count = capture.shape[0] // 8
    samples = faults.swap_stretches(capture, first=2 * count, second=6 * count, count=count)
    found = next(item for item in judged(samples)[1] if item.code == "reordered")
    assert 2 * count / RATE - 0.5 < found.start_s < 3 * count / RATE
    assert "sounds what belongs later, " in found.message
    assert "sounds what belongs earlier" in found.message


def test_clipping_names_what_it_costs():
    samples = faults.clip(10 ** (9.5 / 20) * clean_once("plain-wire"), ceiling_dbfs=0.0)
    found = [item for item in judged(samples)[1] if item.code == "clipped"]
    assert any("attack" in item.withholds for item in found)


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("as it was", lambda x: x),
        ("with silence around", lambda x: np.pad(x, ((4321, 777), (0, 0)))),
        ("without its first tenth", lambda x: x[4800:]),
    ],
)
def test_copies_are_known_by_their_sound(name, change: Callable, rng):
    capture = clean("feedforward-rms-hard", rng)
    own, other = judged(capture)[0], judged(change(capture))[0]
    assert sound_hash(own) == sound_hash(other) != ""
    assert [item.code for item in check_copy(own, other)] == ["equals-other-capture"]
    assert not check_copy(own, judged(clean("feedforward-rms-hard", rng))[0])


def test_exchanged_channels_are_told_where_the_sides_differ(rng):
    stimulus = lay_out(load_recipe("link"), rate_hz=RATE, take=1)
    noise = 10 ** (-110 / 20) / np.sqrt(2)
    sound = 0.5 * np.pad(render_sides(stimulus), ((500, 500), (0, 0)))
    sound = sound + rng.normal(0, noise, sound.shape)
    for channel in (0, 1):
        right = [item.code for item in judged(sound, stimulus, channel)[1] if item.severity != "note"]
        wrong = [
            item.code for item in judged(sound[:, ::-1], stimulus, channel)[1] if item.severity != "note"
        ]
        assert (right, wrong) == ([], ["channel-swapped"])


def test_either_side_of_a_stimulus_of_two_is_known_as_the_stimulus():
    stimulus = lay_out(load_recipe("link"), rate_hz=RATE, take=1)
    for channel in (0, 1):
        found = judged(render_sides(stimulus), stimulus, channel)[1]
        assert "equals-stimulus" in {item.code for item in found}


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("peak_dbfs", [-0.1, -1.0, -3.0])
def test_a_round_peak_is_told_at_every_word_length(bits, peak_dbfs, rng):
    samples = faults.normalise(clean_once("plain-wire"), peak_dbfs=peak_dbfs)
    step = 2.0 ** (1 - bits)
    dither = (rng.random(samples.shape) - rng.random(samples.shape)) * step
    written = np.round((samples + dither) / step) * step
    assert f"Peaks at exactly −{-peak_dbfs:.1f} dBFS" in told(written)["normalised"]
    assert "normalised" not in told(0.99 * written)


def test_what_a_bypass_shows_is_told_before_measuring(rng, tmp_path):
    def run(*arguments):
        return CliRunner().invoke(main, arguments)

    paths = [tmp_path / "set.wav", tmp_path / "off.wav"]
    sheet = tmp_path / "cues.json"
    stimulus = lay_out(RECIPE, rate_hz=RATE, take=1)
    sheet.write_text(render_cue_sheet(CueSheet(stimulus, "pcm24", "0" * 64)), encoding="utf-8")
    for path, stage in zip(paths, ("odd-colour", "plain-wire"), strict=True):
        samples = apply_fault("automatic-gain", clean(stage, rng), rate_hz=RATE)
        soundfile.write(path, np.clip(samples, -1, 1), RATE, subtype="PCM_24")
    arguments = ["check", str(paths[0]), "--stimulus", str(sheet)]
    assert "automatic-gain" not in run(*arguments).output
    both = run(*arguments, "--bypass", str(paths[1]))
    assert both.exit_code == 1
    assert "STOP automatic-gain" in both.output
    assert "In the bypass: The gain follows the sound" in " ".join(both.output.split())
    assert "equals-other-capture" in run(*arguments, "--bypass", str(paths[0])).output


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("level_dbfs", [-80.0, -40.0])
def test_a_sound_in_a_pause_is_told_with_its_time(stage, level_dbfs):
    samples = clean_once(stage).copy()
    at = (
        0.3 + 0.00078 + lay_out(RECIPE, rate_hz=RATE, take=1).segments[0].span.start / RATE + 0.4
    )  # in the silence
    time_s = np.arange(round(0.3 * RATE)) / RATE
    chime = 10 ** (level_dbfs / 20) * np.exp(-8 * time_s) * np.sin(2 * np.pi * 1318.5 * time_s)
    samples[round(at * RATE) : round(at * RATE) + chime.size, 0] += chime
    found = [item for item in judged(samples)[1] if item.code == "spur"]
    assert len(found) == 1
    assert found[0].start_s == pytest.approx(at, abs=0.03)
    assert "was not played" in found[0].message
