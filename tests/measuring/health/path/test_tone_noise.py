"""Coders, rough conversions and coarse stimuli leave their marks under steady tones; stages and noise do not."""

from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import signal

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.health.path.tone_noise import (
    check_noise_beside_tones,
    check_tone_noise,
    noise_repeats,
)
from charprobe.measuring.health.path.under_tones import under_tones
from charprobe.measuring.health.pauses.quiet import quiet_spectrum
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.fault_catalogue import apply_fault
from charprobe.simulation.rig.rig import Rig, quantise
from charprobe.simulation.rig.room_faults import swinging_noise
from charprobe.stimulus.recipe import parse_recipe
from charprobe.stimulus.render import lay_out, render

RATE_HZ = 48_000
RECIPE = """schema = "charprobe.recipe/1"
name = "tones"
summary = "steps and two more frequencies"
[[segment]]
kind = "silence"
name = "idle"
length_s = 0.8
[[segment]]
kind = "level_steps"
name = "steps"
frequency_hz = 997
from_dbfs = -58
to_dbfs = -2
step_db = 7
step_s = 0.2
[[segment]]
kind = "tones"
name = "harmonics"
frequencies_hz = [1500, 5003]
levels_dbfs = [-15, -10, -5, -2]
tone_s = 0.2
"""


@cache
def recorded(stage, played_bits=None, recipe=RECIPE):
    stimulus = lay_out(parse_recipe(recipe, source="x"), rate_hz=RATE_HZ, take=1)
    rng = np.random.default_rng(8)
    played = render(stimulus)
    if played_bits:
        played = quantise(played, bits=played_bits, dither=False, rng=rng)
    out = make_stage(stage).process(played, rate_hz=RATE_HZ, rng=rng).samples
    rig = Rig(delay_samples=31.4, noise_dbfs=-110.0, ac_corner_hz=3.0, drift_ppm=23.0, lead_s=0.2)
    return stimulus, rig.record(out / max(1.0, np.abs(out).max()), rate_hz=RATE_HZ, rng=rng)


def told_of(samples, stimulus=None):
    stimulus = stimulus or recorded("plain-wire")[0]
    take = place_take(Track(MemoryCapture(samples, rate_hz=RATE_HZ, name="a.wav"), 0, stimulus))
    under, spectrum = under_tones(take), quiet_spectrum(take)
    return check_tone_noise(take, under, spectrum) or check_noise_beside_tones(take, under, spectrum)


STAGES = ("plain-wire", "feedforward-rms-hard", "noise-gate", "aliasing-colour", "quiet-hiss", "upward-lift")


@pytest.mark.parametrize("stage", STAGES)
def test_a_stage_leaves_nothing_of_the_kind(stage):
    assert told_of(recorded(stage)[1]) == []


@pytest.mark.parametrize("stage", ["plain-wire", "feedforward-rms-hard"])
@pytest.mark.parametrize(
    ("fault", "code", "says"),
    [
        ("lossy-coded", "lossy-coded", "Noise follows the sound"),
        ("rate-converted-line", "rate-converted", "mirrored at 44.1 kHz, 3"),  # (f / 43 kHz)**2 of 5003 Hz
        ("rate-converted-short", "rate-converted", "mirrored at 44.1 kHz"),
    ],
)
def test_what_a_path_does_to_a_sound_is_told_by_its_family(fault, code, says, stage):
    (told,) = told_of(apply_fault(fault, recorded(stage)[1], rate_hz=RATE_HZ))
    assert told.code == code
    assert says in told.message


def hissing(sound, rng):
    """A compressor's capture with the hiss of its cell: -70 dBFS where all gain is taken, none at rest."""
    size = 480
    loudest = [
        np.abs(each[:, 0][: len(each) // size * size]).reshape(-1, size).max(axis=1)
        for each in (sound, recorded("plain-wire")[1])
    ]
    count = min(map(len, loudest))
    out, played = (each[:count] for each in loudest)
    ratio = np.where(played > 1e-3, out / np.maximum(played, 1e-9), 0.0)
    lost = np.where(ratio > 0, 1 - ratio / ratio.max(), 0.0)
    hiss = np.repeat(lost, size) * 10 ** (-70 / 20) / np.sqrt(2) * rng.standard_normal(count * size)
    return sound + np.pad(hiss, (0, len(sound) - hiss.size))[:, None]


def test_a_cell_that_hisses_the_more_it_reduces_is_no_coder_and_hides_none(rng):
    noisy = hissing(recorded("feedforward-rms-hard")[1], rng)
    assert told_of(noisy) == []
    (told,) = told_of(apply_fault("lossy-coded", noisy, rate_hz=RATE_HZ))
    assert told.code == "lossy-coded"


def test_a_coder_that_hides_noise_below_the_tone_is_told():
    """A tone makes the coder drop what it hides: noise is lower under loud tones than in pauses."""
    clean = recorded("plain-wire")[1][:, 0]
    frames = np.lib.stride_tricks.sliding_window_view(np.pad(clean, 512), 1024)[::512] * np.hanning(1024)
    lines = np.fft.rfft(frames, axis=1)
    lines[np.abs(lines) < 3e-6 * np.abs(lines).max(axis=1, keepdims=True)] = 0
    coded = np.zeros(clean.size + 1024)
    for number, frame in enumerate(np.fft.irfft(lines, axis=1)):
        coded[512 * number : 512 * number + 1024] += frame[: coded.size - 512 * number]
    (told,) = told_of(coded[512 : 512 + clean.size, None])
    assert told.code == "lossy-coded"
    assert "sinks" in told.message


@pytest.mark.parametrize("stage", ["plain-wire", "feedforward-rms-hard"])
def test_a_stimulus_played_in_16_bits_is_told(stage):
    (told,) = told_of(recorded(stage, 16)[1])
    assert (told.code, "played in 16 bits" in told.message) == ("few-bits", True)


def beside_tones(samples, *, gain, phase):
    """Noise of 120 Hz laid on what a tone's gain, its phase, or both move by; 60 dB below it."""
    rng, sos = np.random.default_rng(3), signal.butter(4, 120.0, fs=RATE_HZ, output="sos")
    moves = signal.sosfilt(sos, rng.standard_normal((2, samples.shape[0])))
    moves *= 1e-3 / moves.std(axis=1, keepdims=True)
    wave = signal.hilbert(samples[:, 0])
    return (samples[:, 0] + gain * moves[0] * wave.real + phase * moves[1] * wave.imag)[:, None]


@pytest.mark.parametrize("stage", ["plain-wire", "feedforward-rms-hard"])
def test_noise_close_to_tones_is_a_coders_unless_gain_or_phase_alone_moves(stage):
    clean = recorded(stage)[1]
    (told,) = told_of(beside_tones(clean, gain=1, phase=1))
    assert (told.code, "lies beside tones" in told.message) == ("lossy-coded", True)
    assert told_of(beside_tones(clean, gain=1, phase=0)) == []
    assert told_of(beside_tones(clean, gain=0, phase=1)) == []


def test_noise_of_its_own_is_no_coder():
    clean = recorded("plain-wire")[1]
    assert told_of(swinging_noise(clean, level_dbfs=-70.0, rate_hz=RATE_HZ)) == []
    assert told_of(apply_fault("foreign-noise", clean, rate_hz=RATE_HZ, size=-55.0)) == []
    assert told_of(apply_fault("few-bits", clean, rate_hz=RATE_HZ, size=12.0)) == []


@pytest.mark.parametrize(
    ("beside_dbfs", "repeats"),
    [((-90, -70, -50, -91, -69, -50), True), ((-90, -90, -50, -50, -90, -88), False)],
)
def test_what_follows_the_tones_repeats_and_what_sounds_for_a_while_does_not(beside_dbfs, repeats):
    levels = (-40.0, -20.0, -5.0) * 2
    found = [
        SimpleNamespace(tone=SimpleNamespace(frequency_hz=997.0, level_dbfs=level), beside_dbfs=float(beside))
        for level, beside in zip(levels, beside_dbfs, strict=True)
    ]
    assert noise_repeats(found) is repeats


def test_every_other_sample_repeated_is_a_rough_conversion():
    # 1500 Hz divides 24 kHz: its mirror image would be its own harmonic
    stimulus, samples = recorded("plain-wire", recipe=RECIPE.replace("1500", "1571"))
    assert told_of(samples, stimulus) == []
    (told,) = told_of(samples[np.arange(samples.shape[0]) // 2 * 2], stimulus)
    assert told.code == "rate-converted" and "24.0 kHz" in told.message
