import numpy as np
import pytest

from charprobe.replica.cell import Passed
from charprobe.replica.parts import Cell
from charprobe.replica.steady_tones import SteadyTones

RATE, SECONDS = 48_000, 12
TIME = np.arange(SECONDS * RATE) / RATE
CELL = Cell()  # whose own gain does not move: what moves is what is handed in


def hits(rng):
    """Bursts of noise at times of their own, and the gain in dB that falls at each and recovers."""
    sound, gain_db = np.zeros(TIME.size), np.zeros(TIME.size)
    for at in np.cumsum(rng.uniform(0.3, 0.5, 25)):
        since = np.maximum(TIME - at, 0.0)
        sound += (at <= TIME) * np.exp(-since / 0.03) * rng.standard_normal(TIME.size)
        gain_db -= 6.0 * (1 - np.exp(-since / 0.004)) * np.exp(-since / 0.12)
    return 0.2 * sound, gain_db


def tones(rng, *, turning=0.0):
    """Twenty tones that decay at paces of their own, as strings; with phases that wander where asked."""
    sound = np.zeros(TIME.size)
    for hz in rng.uniform(400, 5000, 20):
        wander = turning * np.cumsum(rng.standard_normal(TIME.size)) / np.sqrt(RATE)
        sound += np.exp(-TIME / rng.uniform(5, 20)) * np.sin(2 * np.pi * hz * TIME + wander)
    return 0.01 * sound


def told(sound, gain_db):
    listener = SteadyTones(CELL, rate_hz=RATE, channels=1, blocks=1)
    for start in range(0, TIME.size, 1 << 16):
        part = slice(start, start + (1 << 16))
        lost = np.zeros((sound[part].size, 1), dtype=bool)
        listener.heard(Passed(sound[part, None], gain_db[part, None], lost))
    return listener.told()


@pytest.mark.parametrize(("of", "sure"), [(0.0, False), (0.5, True), (-0.5, True), (-1.0, True)])
def test_the_share_of_the_gain_that_was_not_given_back_is_told_with_its_sign(rng, of, sure):
    burst, gain_db = hits(rng)
    dry = burst + tones(rng)
    found = told(dry * 10 ** (of * gain_db / 20), gain_db)  # what a replica leaves that gives back too little
    assert found.sure == sure
    assert abs(found.share - of) < found.reach < 0.6


def test_tones_that_wander_and_noise_alone_tell_nothing(rng):
    burst, gain_db = hits(rng)
    for dry in (burst + tones(rng, turning=40.0), burst, np.zeros(TIME.size) + 1e-30):
        found = told(dry * 10 ** (0.5 * gain_db / 20), gain_db)
        assert np.isinf(found.reach) and not found.sure
        assert found.unseen == pytest.approx(1 / 3)


def test_what_does_not_show_is_no_smaller_than_what_is_told(rng):
    burst, gain_db = hits(rng)
    found = told(burst + tones(rng), gain_db)
    assert found.unseen == pytest.approx(min(abs(found.share) + found.reach, 1 / 3))
    assert found.unseen_db == pytest.approx(20 * np.log10(found.unseen * found.moves))
