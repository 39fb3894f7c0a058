import numpy as np
import pytest

from charprobe.replica.fitting.found import Found
from charprobe.replica.fitting.pair import Noise, Sides
from charprobe.replica.fitting.proof import compare
from charprobe.replica.fitting.sentences import notes_of
from charprobe.replica.parts import Chain
from tests.made_profiles import Setting, made_profile

RATE = 48_000


def noise_sides(rng, seconds=3):
    dry = 0.1 * rng.standard_normal(seconds * RATE)
    swing = 10 ** (3 * np.sin(2 * np.pi * np.arange(dry.size) / RATE) / 20)
    return Sides(dry, dry * swing)


def proved(sides, made):
    return compare(sides, made, rate_hz=RATE, noise=Noise(1e-6, 1e-6), material="noise")


def test_residual_and_gain_error_are_those_of_a_known_error(rng):
    sides = noise_sides(rng)
    found = proved(sides, sides.wet * 10 ** (0.1 / 20))
    assert found.gains.error_db == pytest.approx(0.1, abs=1e-9)
    exact = 20 * np.log10(10 ** (0.1 / 20) - 1)
    assert found.proof.residual_db == pytest.approx(exact, abs=1e-6)
    assert all(band.residual_db == pytest.approx(exact, abs=1e-6) for band in found.proof.bands)
    assert found.residual_interval_db[0] <= exact <= found.residual_interval_db[1]


def test_a_gain_that_is_missed_is_not_explained(rng):
    sides = noise_sides(rng)
    still = proved(sides, sides.dry)
    assert still.proof.explained == pytest.approx(0.0, abs=0.02)  # the swing has a mean of 0 dB
    assert still.gains.error_db == pytest.approx(3 / np.sqrt(2), abs=0.02)
    assert proved(sides, sides.wet).proof.explained == 1.0


def test_the_worst_second_is_the_one_with_the_error(rng):
    sides = noise_sides(rng)
    made = sides.wet.copy()
    made[RATE : 2 * RATE] *= 1.1
    found = proved(sides, made).proof
    assert found.worst_residual_db == pytest.approx(-20.0, abs=1e-6)
    assert found.residual_db < -23


def test_a_colour_of_the_error_shows_in_its_band(rng):
    sides = noise_sides(rng)
    hum = 0.01 * np.sin(2 * np.pi * 50 * np.arange(sides.dry.size) / RATE)
    bands = proved(sides, sides.wet + hum).proof.bands
    assert max(bands, key=lambda band: band.residual_db).low_hz == 31.25


def test_the_score_is_one_where_noise_of_both_sides_explains_the_error(rng):
    dry = 0.1 * rng.standard_normal(2 * RATE)
    noisy = Sides(dry + 1e-4 * rng.standard_normal(dry.size), 4 * dry + 3e-4 * rng.standard_normal(dry.size))
    found = compare(noisy, 4 * noisy.dry, rate_hz=RATE, noise=Noise(wet=3e-4, dry=1e-4), material="noise")
    assert found.proof.noise_db == pytest.approx(found.proof.residual_db, abs=1.5)
    finest = (10 ** (-74 / 20) * 4 * 0.1 * np.sqrt(2)) ** 2 / (3e-4**2 + 4e-4**2)  # what weighs as noise does
    assert found.score == pytest.approx(
        1 / np.sqrt(1 + finest), rel=0.1
    )  # the level around a sample is a maximum


@pytest.mark.parametrize(("off_db", "told"), [(-39.6, True), (-56.0, True), (-90.0, False), (-20.0, False)])
def test_an_error_above_the_noise_is_said_to_be_the_models_own(off_db, told, rng):
    sides = noise_sides(rng)
    found = proved(sides, (1 + 10 ** (off_db / 20)) * sides.wet)
    chain = Found(Chain(), 0.0, Noise(1e-6, 1e-6), (), -40.0, "steps", -40.0, cut_short=True)
    notes = notes_of(chain, found, made_profile(Setting("one")), rate_hz=48_000, programme=True, differing=())
    assert any("model's own error" in note and "Noise alone" in note for note in notes) == told
    assert any("budget of work" in note for note in notes) == (off_db > -90)


def test_the_worst_moment_is_told_less_what_noise_explains(rng):
    sides = noise_sides(rng)
    made = sides.wet.copy()
    moment = slice(RATE, RATE + RATE // 4)
    made[moment] *= 1 + 10 ** (-30 / 20)
    assert proved(sides, made).proof.worst_own_db == pytest.approx(-30.0, abs=0.1)
    hissing = sides.wet + 1e-3 * rng.standard_normal(sides.wet.size)
    found = compare(sides, hissing, rate_hz=RATE, noise=Noise(wet=1e-3, dry=0.0), material="noise")
    assert found.proof.worst_own_db == -400.0
