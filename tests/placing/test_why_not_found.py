"""Each reason for a missing stimulus carries the health code of its kind."""

import numpy as np
import pytest
from played import RATE_HZ, capture, recorded, short_stimulus, sound_at

from charprobe.placing.align import locate
from charprobe.placing.track import Track
from charprobe.placing.why_not_found import MissingStimulusError, find_ident, recipe_name
from charprobe.stimulus.recipe import load_recipe

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
