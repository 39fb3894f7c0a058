import numpy as np
import pytest
from a_little_of_all import RECIPE
from judged_captures import RATE, clean, clean_once, told

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise
from charprobe.measuring.health.judge import judge_capture
from charprobe.simulation.rig import faults
from charprobe.simulation.rig.fault_catalogue import apply_fault
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render


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


@pytest.mark.parametrize("level_dbfs", [-103.0, -97.0])  # noise lies at -110 dBFS, below 20 kHz at -111
def test_a_tone_that_glides_from_pause_to_pause_is_told(level_dbfs):
    samples = clean_once("plain-wire")
    turns = np.cumsum(np.geomspace(4000, 300, len(samples))) / RATE
    whistle = 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * turns)[:, None]
    assert "tone that moves" in told(samples + whistle)["spur"]
    assert "spur" not in told(samples + 10 ** ((-120 - level_dbfs) / 20) * whistle)


def test_an_offset_that_alternates_is_a_tone_of_half_the_rate():
    samples = clean_once("plain-wire")
    apart = 1e-4 * (-1.0) ** np.arange(len(samples))
    # a sine of full scale is 0 dBFS, so a square wave of 1e-4 is 3 dB above -80
    assert f"{RATE / 2 / (1 + 23e-6):.0f} Hz at −77 dBFS" in told(samples + apart[:, None])["spur"]


@pytest.mark.parametrize(("over_db", "is_told"), [(2.0, True), (-2.0, False)])
def test_noise_louder_than_the_quietest_step_is_told(over_db, is_told, rng):
    deep = Recipe(
        "deep", "steps down to -64 dBFS", (LevelSteps("steps", 997.0, -64, -4, 10, 0.25, True, gap_s=1.0),)
    )
    stimulus = lay_out(deep, rate_hz=RATE, take=1)
    over_band = 20 * np.log10(RATE / 2 / 20_000) / 2  # noise is counted from 20 Hz to 20 kHz
    rig = Rig(delay_samples=31.4, noise_dbfs=-64.0 + over_db + over_band, lead_s=0.3, tail_s=0.3)
    capture = MemoryCapture(
        rig.record(render(stimulus), rate_hz=RATE, rng=rng), rate_hz=RATE, name="noisy.wav"
    )
    codes = {item.code for item in judge_capture(capture, stimulus, 0)[1]}
    assert ("low-level" in codes) == is_told
