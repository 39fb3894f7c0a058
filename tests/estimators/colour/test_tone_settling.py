"""Tones through gains of known course: what was left to go when they were read, in closed form."""

import numpy as np
import pytest

from charprobe.estimators.colour.harmonics import EDGE_S, SETTLE_SHARE, measure_harmonics
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.cut import Cut
from charprobe.values.quantity import Quantity, Unmeasured

RATE_HZ, LENGTH = 48_000.0, 9_600
A3 = 0.1  # of a saturator behind the gain
LEVELS = (-30.0, -20.0, -10.0)
TONES = [Tone(i * (LENGTH + 96), LENGTH, 997.0, level, 0.0, 240, i) for i, level in enumerate(LEVELS)]
SECONDS = np.arange(LENGTH) / RATE_HZ
LATE = (SECONDS >= SETTLE_SHARE * LENGTH / RATE_HZ) & (SECONDS < LENGTH / RATE_HZ - EDGE_S)


def cells(rng, gain_db):
    """Harmonics of the tones through gains over time, one row per tone, then a cubic saturator, then noise."""
    samples = np.zeros(TONES[-1].stop + 96)
    for tone, gain in zip(TONES, gain_db, strict=True):
        x = 10 ** ((tone.level_dbfs + gain) / 20) * np.cos(2 * np.pi * tone.frequency_hz * SECONDS)
        samples[tone.start : tone.stop] = x - A3 * x**3
    samples += rng.normal(0, 10 ** (-110 / 20) / np.sqrt(2), samples.size)
    return measure_harmonics(Cut(samples, 0.0, 1.0, RATE_HZ), tones=TONES)


def h3_db(level_dbfs):
    a = 10 ** (level_dbfs / 20)
    return 20 * np.log10(A3 * a**3 / 4 / (a - 0.75 * A3 * a**3))


def test_steady_gains_are_settled_and_keep_their_intervals(rng):
    for cell in cells(rng, np.zeros((3, LENGTH))):
        assert cell.settled and cell.settling.doubt_db == 0.0
    assert cell.level(3).std < 0.01


@pytest.mark.parametrize("left_db", [0.3, 0.8])
def test_a_gain_still_moving_widens_its_harmonics_to_where_they_settle(rng, left_db):
    course = left_db * np.exp(-SECONDS / 0.08)
    found = cells(rng, np.tile(course, (3, 1)))
    for cell, level in zip(found, LEVELS, strict=True):
        truth = 20 * np.log10(np.mean(10 ** (course[LATE] / 20)))  # how far the level read lies off
        assert cell.settling.remaining_db == pytest.approx(-truth, rel=0.2)
        assert abs(truth) < cell.settling.doubt_db
        if level > -25:
            h3 = cell.level(3)
            assert isinstance(h3, Quantity) and h3.low <= h3_db(level) <= h3.high


def test_a_gain_with_much_left_to_go_tells_no_harmonics(rng):
    found = cells(rng, np.tile(-12 * np.exp(-SECONDS / 0.15), (3, 1)))
    for cell in found:
        assert not cell.told
        for reading in (cell.fundamental, cell.level(3), cell.phase(3), cell.thd):
            assert isinstance(reading, Unmeasured) and "had not settled" in reading.reason


def test_ripple_that_still_falls_where_the_gain_has_settled_is_widened(rng):
    """Two tones in one cut: the third harmonic falls by half a decibel to where it stays."""
    course = 1e-3 * (1 + 0.2 * np.exp(-SECONDS / 0.2))
    turns = 2 * np.pi * 997.0 * SECONDS
    tone = Tone(0, LENGTH, 997.0, -10.0, 0.0, 240, 0)
    samples = 10 ** (-10 / 20) * (np.cos(turns) + course * np.cos(3 * turns))
    samples += rng.normal(0, 10 ** (-110 / 20) / np.sqrt(2), LENGTH)
    (cell,) = measure_harmonics(Cut(samples, 0.0, 1.0, RATE_HZ), tones=[tone])
    h3 = cell.level(3)
    assert h3.value > -59.5 and h3.low <= -60.0 <= h3.high
    assert cell.settled
