"""Where harmonics come from: rungs built by hand, each witness alone."""

from dataclasses import replace

import numpy as np
import pytest

from charprobe.estimators.colour.harmonic_cell import HarmonicCell
from charprobe.estimators.colour.level_rung import LevelRung
from charprobe.estimators.colour.origin import with_origins
from charprobe.estimators.tone import ToneFit
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.quantity import Quantity

STD = 1e-6


def rung(level_dbfs, h3=0j, *, h2=0j, at_rest=False, colour=None, frequency_hz=997.0):
    """A tone with a second and a third harmonic; `colour` is what is left of both without ripple."""
    fit = ToneFit(frequency_hz, 0.0, 0.0, np.array([0.1, 0.1 * h2, 0.1 * h3]), np.full(3, STD))
    tone = Tone(0, 9600, frequency_hz, level_dbfs, 0.0, 240, 0)
    cell = HarmonicCell(tone, fit, np.array([h2, h3]), np.full(2, STD), np.zeros(2))
    left = None if colour is None else np.array(colour)
    stds = None if colour is None else np.full(2, STD)
    return LevelRung(level_dbfs, 0.0 if at_rest else 6.0, cell, None, left, stds, at_rest=at_rest)


def origins(*rungs, expected_dbc=None):
    ripple = (
        None
        if expected_dbc is None
        else Quantity(expected_dbc, expected_dbc - 0.3, expected_dbc + 0.3, "dBc")
    )
    return [one.origin for one in with_origins(rungs, expected=lambda _: ripple)]


LAGGING = 1e-3 * np.exp(2j)  # at 115 degrees, as a reduction that follows the crests makes: -60 dBc


def test_nothing_beyond_noise_has_no_origin():
    assert origins(rung(-10, 2 * STD, colour=(0, 0))) == ["none"]


def test_colour_at_rest_stays_colour_under_reduction_though_it_goes_as_ripple():
    quiet, loud = rung(-30, 1e-4j, at_rest=True), rung(-10, LAGGING, colour=(0, 0))
    assert origins(quiet, loud) == ["colour", "colour"]
    elsewhere = rung(-10, LAGGING, colour=(0, 0), frequency_hz=5003.0)
    assert origins(quiet, elsewhere) == ["colour", "ripple"]


@pytest.mark.parametrize(
    ("expected_dbc", "left", "origin"),
    [
        (None, (0, 0), "ripple"),
        (-60, (0, 0), "ripple"),  # both descriptions agree
        (-80, (0, 0), "either"),  # it goes as ripple over frequency, and is 20 dB more than the times allow
        (None, (0, 5e-4), "colour"),
        (-80, (0, 5e-4), "colour"),
        (-60, (0, 5e-4), "either"),  # it does not go as ripple, and is as much as the times make
        (-60, (5e-4, 0), "colour"),  # an even harmonic is no ripple of both half waves
    ],
)
def test_description_and_expectation_together(expected_dbc, left, origin):
    assert origins(rung(-10, LAGGING, h2=left[0], colour=left), expected_dbc=expected_dbc) == [origin]


def test_a_third_harmonic_that_leads_the_crests_is_colour_unless_it_all_falls_with_frequency():
    leading = 1e-3 * np.exp(-1.4j)
    assert origins(rung(-10, leading, colour=(0, 5e-4))) == ["colour"]
    # a detector of three poles turns its ripple as far; two levels tell by growing or not
    assert origins(rung(-10, leading, colour=(0, 0))) == ["either"]


@pytest.mark.parametrize(
    ("slope", "h2", "origin"),
    [
        (0.0, 0j, "either"),  # a gain that gives back what it takes bends a wave as much at any level
        (0.1, 0j, "colour"),
        (-0.2, 0j, "colour"),  # a notch around zero
        (0.0, 1e-3 + 0j, "colour"),
    ],
)
def test_odd_harmonics_at_rest_that_no_level_changes_may_be_of_a_gain(slope, h2, origin):
    def at(level_dbfs):
        one = rung(level_dbfs, 1e-2 * 10 ** (slope * level_dbfs / 20), h2=h2, at_rest=True)
        fit = replace(one.cell.fit, amplitudes=10 ** (level_dbfs / 20) * one.cell.fit.amplitudes)
        return replace(one, cell=replace(one.cell, fit=fit))

    assert set(origins(*(at(level) for level in (-40.0, -30.0, -20.0, -10.0)))) == {origin}


def test_what_shows_under_a_moving_gain_and_no_louder_tone_may_be_either():
    alone = rung(-30, LAGGING, colour=(0, 5e-4))
    louder, silent = rung(-10, LAGGING, colour=(0, 5e-4)), rung(-10, 2 * STD, colour=(0, 0))
    assert origins(alone, louder) == ["colour", "colour"]
    assert origins(alone, silent) == ["either", "none"]
    between = rung(-20, LAGGING, colour=(0, 0))
    assert origins(alone, between, louder, expected_dbc=-80) == ["colour"] * 3
    assert origins(alone, between, expected_dbc=-80) == ["either", "either"]
    notch = rung(-30, 1e-3j, at_rest=True)  # around zero: what rests has no ripple
    assert origins(notch, rung(-10, 2 * STD, at_rest=True)) == ["colour", "none"]


@pytest.mark.parametrize(("louder_dbfs", "origin"), [(-24, "ripple"), (30, "colour")])
def test_what_the_knee_of_a_gate_makes_is_ripple_where_a_notch_would_be_seen_above(louder_dbfs, origin):
    knee = replace(rung(-30, LAGGING, at_rest=True), steepness=0.04)
    assert origins(knee, rung(louder_dbfs, 2 * STD, at_rest=True)) == [origin, "none"]


@pytest.mark.parametrize(
    ("lower", "expected_dbc", "origin"),
    [
        (1e-5 + 0j, None, "colour"),  # 40 dB more than at 997 Hz, though a description calls it ripple
        (1e-3 + 0j, None, "ripple"),
        (1e-5 + 0j, -60, "ripple"),  # as much as the times make
    ],
)
def test_a_third_harmonic_that_rises_with_frequency_is_colour_unless_it_is_expected(
    lower, expected_dbc, origin
):
    pair = rung(-10, lower, colour=(0, 0)), rung(-10, LAGGING, colour=(0, 0), frequency_hz=5003.0)
    assert origins(*pair, expected_dbc=expected_dbc)[1] == origin


def test_without_a_description_only_the_expectation_speaks():
    assert origins(rung(-10, LAGGING)) == ["either"]


def test_ripple_of_a_gain_that_crests_raise_is_turned_round():
    falling = rung(-10, -LAGGING, colour=(0, 0))  # leads the crests of a reduction
    rising = replace(falling, reduction_db=-6.0)  # follows those of a gate
    assert origins(falling) == ["either"]
    assert origins(rising) == ["ripple"]


def soft_and_loud(third, grown):
    """Two tones, of which the louder comes out 1.6 dB louder, which is how much colour grows at least."""
    soft, loud = rung(-10, third, colour=(0, 0)), rung(-2, grown * third, colour=(0, 0))
    louder = replace(loud.cell.fit, amplitudes=1.2 * loud.cell.fit.amplitudes)
    return soft, replace(loud, cell=replace(loud.cell, fit=louder))


@pytest.mark.parametrize(("grown", "origin"), [(1.0, "ripple"), (1.5, "colour")])
def test_a_third_harmonic_that_stays_as_the_output_rises_is_ripple_whatever_its_phase(grown, origin):
    assert set(origins(*soft_and_loud(1e-3 * np.exp(-1.4j), grown))) == {origin}


@pytest.mark.parametrize(("grown", "origin"), [(1.0, "ripple"), (1.5, "either")])
def test_what_grows_beside_colour_at_rest_of_another_tone_may_be_either(grown, origin):
    at_rest = rung(-30, 1e-4j, at_rest=True, frequency_hz=110.0)
    assert origins(at_rest, *soft_and_loud(LAGGING, grown)) == ["colour", origin, origin]
