"""Cells that start where they answer a burst as another does: closed forms of steady tones and of decays."""

from dataclasses import replace

import numpy as np
import pytest

from charprobe.replica.cell import gain_db
from charprobe.replica.fitting.starts import answering_as
from charprobe.replica.parts import Bend, Cell, Detector, Smoothing

RATE = 48_000
SMOOTH = Cell(
    detector=Detector("envelope"),
    bends=(Bend(-20.0, 0.75, 6.0),),
    smoothing=Smoothing(attack_s=0.002, release_s=0.12),
)
RIPPLING = Detector("mean", exponent=2.0)


def settled_db(cell, level_dbfs):
    """Mean gain over the last periods of a long tone."""
    tone = 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * 1000 * np.arange(RATE // 2) / RATE)
    return float(np.mean(gain_db(cell, tone, rate_hz=RATE)[-480:]))


def test_a_detector_that_reads_near_its_peaks_gets_a_threshold_that_much_higher():
    cell = Cell(RIPPLING, SMOOTH.bends, Smoothing(domain="level", attack_s=0.002, release_s=0.12))
    assert settled_db(cell, -8.0) < settled_db(SMOOTH, -8.0) - 0.5  # it reads higher than the mean square
    started = answering_as(SMOOTH, cell, rate_hz=RATE)
    assert settled_db(started, -8.0) == pytest.approx(-0.75 * 12, abs=0.1)  # 12 dB over the threshold, in dB
    assert started.bends[0].threshold_dbfs > -19.5


@pytest.mark.parametrize("hold_s", [0.0, 0.2])
def test_a_level_that_falls_evenly_in_db_gets_the_release_that_is_as_long(hold_s):
    held = Smoothing(domain="level", release_s=0.12, hold_s=hold_s)
    cell = Cell(Detector("envelope"), (Bend(-20.0, 0.75),), held)
    like = replace(SMOOTH, smoothing=replace(SMOOTH.smoothing, hold_s=hold_s))
    started = answering_as(like, cell, rate_hz=RATE)
    # 12 dB over the threshold fall at 8.7 dB per time constant: 63 % of the reduction, which follows in
    # proportion, are gone after 0.632 * 12 / 8.686 of it
    assert started.smoothing.release_s == pytest.approx(0.12 * 8.686 / (12 * 0.632), rel=0.05)


def test_what_has_nothing_to_answer_stays_as_it_is():
    cell = Cell(RIPPLING, SMOOTH.bends)
    assert answering_as(Cell(), cell, rate_hz=RATE) is cell
    assert answering_as(Cell(bends=(Bend(-40.0, 1.0, side="below"),)), cell, rate_hz=RATE) is cell
    assert answering_as(cell, cell, rate_hz=RATE) is cell
