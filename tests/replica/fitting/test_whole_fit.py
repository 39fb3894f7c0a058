"""Filters, colour and cell fitted at once to devices with code of their own."""

from dataclasses import replace

import numpy as np
import pytest

from charprobe.replica.fitting.ahead import FOLLOW
from charprobe.replica.fitting.cell_fit import fit_cell
from charprobe.replica.fitting.colour_fit import curve_of
from charprobe.replica.fitting.filter_fit import Linear
from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.search import FIT, fit_side_by_side
from charprobe.replica.fitting.structures import Structure
from charprobe.replica.fitting.whole_fit import LAST, Whole, fit_whole
from charprobe.replica.parts import Bend, Cell, Colour, Detector, Section, Smoothing
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.filters import Filter, treble_shelf
from charprobe.simulation.devices.parts.gain_computer import Bend as DeviceBend
from tests.replica.fitting.test_search import RATE

STAGE = Compressor("d", "d", (DeviceBend(-28.0, 0.65, 6.0),), attack_s=0.002, release_s=0.06, makeup_db=2.0)
START = Cell(
    Detector("envelope"), (Bend(-27.0, 0.6, 5.0),), Smoothing(attack_s=0.003, release_s=0.07), makeup_db=2.5
)
SIZES = np.linspace(-1.0, 1.0, 20_001)
SLOPE_DB = 1.5 * SIZES - 6.0 * SIZES**2  # of a curve; the family holds it


def heard(rng, *behind):
    n = np.arange(round(1.2 * RATE))
    level = np.repeat(rng.permutation(np.linspace(-40, -3, 12)), n.size // 12 + 1)[: n.size]
    hz = np.repeat(np.tile([211.0, 2003.0, 6007.0], 4), n.size // 12 + 1)[: n.size]
    dry = 10 ** (level / 20) * np.sin(2 * np.pi * np.cumsum(hz) / RATE)
    wet = STAGE.process(dry, rate_hz=RATE, rng=rng).samples
    for one in behind:
        wet = one(wet)
    wet = wet + 1e-6 * rng.standard_normal(n.size)
    weight = 1 / np.hypot(1e-6, 1e-4 * 10 ** (level / 20))
    return Heard(dry, wet, n, weight, n // 400, np.full(n.size, 1e-6))


def shelf(sound):
    stage = Filter("f", "f", (treble_shelf(corner_hz=3000.0, gain_db=4.0),), {})
    return stage.process(sound, rate_hz=RATE, rng=np.random.default_rng(0)).samples


def curve(sound):
    slope = 10 ** (SLOPE_DB / 20)
    below = np.concatenate([[0.0], np.cumsum((slope[1:] + slope[:-1]) / 2 * np.diff(SIZES))])
    return np.interp(sound, SIZES, below - below[SIZES.size // 2])


def test_a_filter_that_was_read_amiss_is_put_right_with_the_cell(rng):
    sound = heard(rng, shelf)
    near = fit_cell(Structure(), START, sound, sound, rate_hz=RATE, effort=FOLLOW)
    amiss = Linear((Section("high shelf", 3300.0, 1, 3.7),))
    found = fit_whole(Whole(amiss, Colour(), near), sound, sound, rate_hz=RATE, effort=FIT)
    [section] = found.linear.sections
    assert section.frequency_hz == pytest.approx(3000.0, rel=0.005)
    assert section.gain_db == pytest.approx(4.0, abs=0.01)
    assert found.fitted.cell.bends[0].threshold_dbfs == pytest.approx(-28.0, abs=0.02)
    assert np.all(np.diag(found.fitted.solution.covariance) > 0)


def test_a_colour_is_found_as_far_as_the_sound_goes(rng):
    sound, fresh = heard(rng, curve), heard(np.random.default_rng(8), curve)
    near = fit_cell(Structure(), START, sound, fresh, rate_hz=RATE, effort=FOLLOW)
    begun = replace(
        curve_of(Colour("behind"), 1.0, np.zeros(6)), oversampled=False
    )  # the device works sample by sample
    found = fit_whole(Whole(Linear(), begun, near), sound, fresh, rate_hz=RATE, effort=LAST)
    assert found.fitted.solution.score < 0.05 * near.solution.score
    # of onsets that were not heard, whose overshoot has another shape, a quarter
    assert found.fitted.held_out < 0.25 * near.held_out
    # a last fit goes on from there: the same curve again, up to a peak that is read anew
    again = fit_whole(found, sound, fresh, rate_hz=RATE, effort=LAST)
    assert again.fitted.held_out == pytest.approx(found.fitted.held_out, rel=0.01)


def test_what_is_found_does_not_depend_on_the_threads(rng):
    sound = heard(rng, shelf)
    near = fit_cell(Structure(), START, sound, sound, rate_hz=RATE, effort=FOLLOW)
    begun = Whole(Linear((Section("high shelf", 3300.0, 1, 3.7),)), Colour(), near)
    one, three = (
        fit_whole(begun, sound, sound, rate_hz=RATE, effort=FOLLOW, threads=threads) for threads in (1, 3)
    )
    assert one.linear == three.linear and one.fitted.cell == three.fitted.cell
    calls = [(structure, START, sound, sound) for structure in (Structure("rectified"), Structure())]
    by_one, by_two = (
        [found.cell for found in fit_side_by_side(calls, rate_hz=RATE, effort=FOLLOW, jobs=jobs)]
        for jobs in (1, 2)
    )
    assert by_one == by_two
    [alone] = fit_side_by_side(calls[:1], rate_hz=RATE, effort=FOLLOW, jobs=2)
    assert alone.cell == by_one[0]
