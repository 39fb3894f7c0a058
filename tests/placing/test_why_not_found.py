"""Each reason for a missing stimulus carries the health code of its kind."""

import numpy as np
import pytest
from played import RATE_HZ, capture, recorded, short_stimulus, sound_at

from charprobe.placing.align import locate
from charprobe.placing.track import Track
from charprobe.placing.why_not_found import MissingStimulusError, find_ident, recipe_name
from charprobe.stimulus.recipe import load_recipe
from charprobe.values.errors import AlignmentError

STIMULUS = short_stimulus()
OTHER = short_stimulus(summary="another recipe")


def converted(rng):
    samples = sound_at(STIMULUS, np.arange(0, STIMULUS.length, 48_000 / 44_100))
    return samples + rng.normal(0, 1e-5, samples.size)


CASES = {
    "silent": lambda rng: (np.zeros(5 * RATE_HZ), RATE_HZ),
    "stimulus-not-found": lambda rng: (rng.normal(0, 1e-4, 5 * RATE_HZ), RATE_HZ),
    "wrong-stimulus": lambda rng: (recorded(OTHER, delay=10.0, noise=rng), RATE_HZ),
    "reordered": lambda rng: (recorded(STIMULUS, delay=10.0, noise=rng)[::-1], RATE_HZ),
    "rate-mislabelled": lambda rng: (recorded(STIMULUS, delay=10.0, noise=rng), 44_100),
    "rate-converted": lambda rng: (converted(rng), 44_100),
}


@pytest.mark.parametrize("code", CASES)
def test_the_reason_has_its_code(code, rng):
    samples, rate_hz = CASES[code](rng)
    with pytest.raises(MissingStimulusError) as caught:
        locate(Track(capture(samples, rate_hz=rate_hz), 0, STIMULUS))
    assert caught.value.code == code
    assert "take.wav, channel 1" in str(caught.value) and "the file is kept" in str(caught.value)


def test_an_ident_is_found_anywhere_in_the_first_minutes(rng):
    samples = recorded(STIMULUS, delay=7.3 * RATE_HZ, noise=rng)
    reading = find_ident(capture(samples), 0)
    assert (reading.recipe_hash_prefix, reading.take) == (STIMULUS.recipe.hash[:6], 7)
    assert find_ident(capture(rng.normal(0, 0.01, 20 * RATE_HZ)), 0) is None


def test_shipped_recipes_are_named():
    assert recipe_name(load_recipe("quick").hash[:6]) == "'quick'"
    assert "none of the shipped" in recipe_name("zzzzzz")


def test_silence():
    with pytest.raises(AlignmentError, match=r"digital silence.*take\.wav, channel 1.*permission.*kept"):
        locate(Track(capture(np.zeros(10 * RATE_HZ)), 0, STIMULUS))


def test_only_noise(rng):
    level = 10 ** (-70 / 20) / np.sqrt(2)
    with pytest.raises(AlignmentError, match=r"only noise at −70\.\d dBFS.*play level"):
        locate(Track(capture(rng.normal(0, level, 10 * RATE_HZ)), 0, STIMULUS))


def test_another_sound(rng):
    time_s = np.arange(10 * RATE_HZ) / RATE_HZ
    samples = 0.3 * np.sin(2 * np.pi * 220 * time_s) * (0.6 + 0.4 * np.sin(2 * np.pi * 3 * time_s))
    with pytest.raises(
        AlignmentError, match=r"sound present, but not the stimulus 'short'.*Nearest match: none"
    ):
        locate(Track(capture(samples), 0, STIMULUS))


def test_another_recipe(rng):
    with pytest.raises(
        AlignmentError, match=rf"sound says recipe '{OTHER.recipe.hash[:6]}'.*take 7; expected"
    ):
        locate(Track(capture(recorded(OTHER, delay=100.0, noise=rng)), 0, STIMULUS))


def test_another_recipe_without_its_markers(rng):
    samples = recorded(OTHER, delay=100.0, noise=rng)
    samples[: OTHER.opening.stop + 200] = 0
    samples[OTHER.closing.start :] = 0
    with pytest.raises(AlignmentError, match=rf"sound says recipe '{OTHER.recipe.hash[:6]}'"):
        locate(Track(capture(samples), 0, STIMULUS))


def test_backwards(rng):
    with pytest.raises(AlignmentError, match="run backwards"):
        locate(Track(capture(recorded(STIMULUS, delay=100.0, noise=rng)[::-1]), 0, STIMULUS))


def test_header_with_the_wrong_rate(rng):
    samples = recorded(STIMULUS, delay=100.0, noise=rng)
    with pytest.raises(
        AlignmentError, match=r"8\.1 % off: the header says 44\.1 kHz, the content fits 48 kHz"
    ):
        locate(Track(capture(samples, rate_hz=44_100), 0, STIMULUS))


def test_content_at_another_rate_than_header_and_stimulus(rng):
    samples = sound_at(STIMULUS, np.arange(0, STIMULUS.length, 48_000 / 44_100))
    with pytest.raises(
        AlignmentError, match=r"8\.8 % off: the header says 48 kHz, the content fits 44\.1 kHz"
    ):
        locate(Track(capture(samples + rng.normal(0, 1e-5, samples.size)), 0, STIMULUS))


def test_converted_rate(rng):
    samples = sound_at(STIMULUS, np.arange(0, STIMULUS.length, 48_000 / 44_100))
    samples = samples + rng.normal(0, 1e-5, samples.size)
    with pytest.raises(AlignmentError, match=r"converted from 48 kHz to 44\.1 kHz"):
        locate(Track(capture(samples, rate_hz=44_100), 0, STIMULUS))
