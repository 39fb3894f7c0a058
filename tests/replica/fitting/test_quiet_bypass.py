"""The bypass without its noise: what is left is the known stimulus, through the path, at the right places."""

from dataclasses import replace

import numpy as np
import pytest

from charprobe.files.sound.source import MemoryCapture
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.replica.fitting.pair import Noise, Pair
from charprobe.replica.fitting.quiet_bypass import read_quiet
from charprobe.simulation.devices.chain import Wire
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.simulate import record_stage
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Silence
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render

RATE = 44_100
SEGMENTS = (Silence("idle", 0.5), LevelSteps("steps", 997.0, -40.0, -4.0, 6.0, 0.1))
STIMULUS = lay_out(Recipe("steps", "steps and nothing else", SEGMENTS), rate_hz=RATE, take=1)
NOISE = 10 ** (-70 / 20) / np.sqrt(2)


@pytest.fixture(scope="module")
def takes():
    """A bypass with noise and the same without, on one clock: AC coupling rings on behind every step."""
    rig = Rig(delay_samples=80.3, drift_ppm=15, bits=24, lead_s=0.1, tail_s=0.1, ac_corner_hz=3.0)
    sound = record_stage(Wire("wire", "wire"), render(STIMULUS), rate_hz=RATE, rig=rig, seed=1)
    clean = place_take(Track(MemoryCapture(sound, rate_hz=RATE), 0, STIMULUS))
    hissing = sound + NOISE * np.random.default_rng(2).standard_normal(sound.shape)
    noisy = place_take(Track(MemoryCapture(hissing, rate_hz=RATE), 0, STIMULUS))
    return replace(noisy, alignment=clean.alignment), clean


def error(takes, heard):
    span = STIMULUS.segments[1].span
    asked = (span.start - 2000, span.stop + 2000)
    noisy, clean = (Pair(take, take) for take in takes)
    got = read_quiet(noisy, *asked, noise=Noise(NOISE, NOISE, heard)).dry
    return np.std(got - clean.read(*asked).dry)


def test_noise_that_the_stage_never_heard_is_gone(takes):
    # what stays: taps of one path, 17 of 45 000 samples, and the noise below 60 Hz, 60 / 22 050 of its power
    assert error(takes, 0.0) < 0.08 * NOISE


def test_where_nothing_was_played_nothing_is_left_of_noise_that_the_stage_never_heard():
    # a level that is smoothed in dB falls in silence as far as it is silent
    rig = Rig(noise_dbfs=-110, bits=None, lead_s=0.1, tail_s=0.1)
    sound = record_stage(Wire("wire", "wire"), render(STIMULUS), rate_hz=RATE, rig=rig, seed=1)
    pair = Pair(*[place_take(Track(MemoryCapture(sound, rate_hz=RATE), 0, STIMULUS))] * 2)
    noise, span = pair.noise(gain_db=0.0), STIMULUS.segments[1].span
    heard = read_quiet(pair, span.start - 12_000, span.stop, noise=replace(noise, heard=0.0)).dry
    assert np.std(heard[500:8000]) < 1e-3 * noise.dry


def test_so_much_of_it_stays_as_the_stage_heard(takes):
    assert error(takes, 0.25) == pytest.approx(0.5 * NOISE, rel=0.05)
    assert error(takes, 1.0) == pytest.approx(NOISE, rel=0.05)


def test_a_path_of_another_kind_leaves_the_bypass_as_it_was_captured(takes):
    dry = takes[1]
    span = STIMULUS.segments[1].span
    noise = Noise(1e-9, 1e-9, 0.0)  # less than what the path adds
    pair = Pair(dry, dry)
    asked = (span.start - 2000, span.stop + 2000)
    np.testing.assert_array_equal(read_quiet(pair, *asked, noise=noise).dry, pair.read(*asked).dry)
