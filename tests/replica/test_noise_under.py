import numpy as np

from charprobe.replica.cell import Passed
from charprobe.replica.noise_under import NoiseUnder

RATE = 48_000
COUNT = 10 * RATE
LOUD = np.tile(np.r_[np.ones(RATE // 2), np.zeros(RATE // 2)], 10)  # half a second of sound, half of rest


def told(sound, gain_db):
    under = NoiseUnder(rate_hz=RATE, frames=COUNT)
    for start in range(0, COUNT, 30_000):
        piece = slice(start, start + 30_000)
        under.heard(
            Passed(sound[piece, None], gain_db[piece, None], np.zeros((sound[piece].size, 1), dtype=bool))
        )
    return under.told()


def test_the_depth_of_a_dip_is_told_in_the_printed_take_and_none_in_the_result(rng):
    noise, tone = 1e-4 * rng.standard_normal(COUNT), 0.3 * LOUD * np.sin(0.05 * np.arange(COUNT))
    found = told(tone + noise, -6.0 * LOUD)
    assert (
        abs(found.printed.depth_db + 6.0) < 1.0 and found.printed.highest_db < -4.0
    )  # what chance leaves of a quantile
    assert abs(found.result.depth_db) < 1.0 < 1.5 + found.result.highest_db


def test_what_is_given_back_too_little_is_seen_and_what_is_no_noise_is_not(rng):
    noise, tone = 1e-4 * rng.standard_normal(COUNT), 0.3 * LOUD * np.sin(0.05 * np.arange(COUNT))
    assert told(tone + noise * 10 ** (-3.0 * LOUD / 20), -3.0 * LOUD).result.beyond(1.0)
    assert told(tone, -3.0 * LOUD).result is None  # digital silence
    whine = 1e-3 * (1 - LOUD) * (np.sin(0.7 * np.arange(COUNT)) + np.sin(1.1 * np.arange(COUNT)))
    assert not told(tone + whine, -3.0 * LOUD).result.beyond(0.0)  # of the room, while nothing is played


def test_noise_behind_the_stage_is_no_dip(rng):
    found = told(
        0.3 * LOUD * np.sin(0.05 * np.arange(COUNT))
        + 1e-4 * 10 ** (8.0 * LOUD / 20) * rng.standard_normal(COUNT),
        -8.0 * LOUD,
    )
    assert not found.result.beyond(0.0) and not found.printed.beyond(1.0)
