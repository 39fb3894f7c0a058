"""Curves that change close to rest, told from the harmonics of tones, against closed forms."""

import numpy as np
import pytest

from charprobe.replica.colour import shaped, table_of
from charprobe.replica.fitting.colour_fit import (
    PLACES,
    STARTS,
    added_by,
    curve_of,
    fit_colour,
    harmonics,
    row_of,
)
from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.without_cell import COLOUR
from charprobe.replica.parts import Cell, Chain, Colour

RATE, TONE, HZ = 48_000, 4800, 1000.0
KINK, WIDTH, DEPTH = 0.05, 0.02, 0.4
LEVELS_DBFS = (-46, -36, -26, -16, -6, -2)


def kinked(x):
    return x + KINK * np.abs(x)


def crossing(x):
    """Less steep around zero."""
    return x - DEPTH * WIDTH * np.tanh(x / WIDTH)


def fitted(curve, start, *, makeup_db=0.0):
    turn = 2 * np.pi * HZ / RATE * np.arange(TONE)
    dry = np.concatenate([10 ** (level / 20) * np.sin(turn) for level in LEVELS_DBFS])
    level = np.repeat([10 ** (level / 20) for level in LEVELS_DBFS], TONE)
    at, left = np.arange(dry.size), np.full(dry.size, 1e-6)
    parts = tuple((slice(k * TONE, (k + 1) * TONE), HZ) for k in range(len(LEVELS_DBFS)))
    heard = Heard(dry, curve(dry), at, 1 / np.hypot(1e-6, 3e-5 * level), at // TONE, left, parts)
    among = Chain(cell=Cell(makeup_db=makeup_db))
    return fit_colour(among, "behind", heard, rate_hz=RATE, effort=COLOUR, start=start)


def off(colour, curve, level_dbfs, gain=1.0):
    """Harmonics that the curve makes of a tone between the levels it was fitted at, less the closed form's."""
    tone = 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * np.arange(TONE) / TONE)
    made = [
        np.abs(np.fft.rfft(one))[2:8]
        for one in (curve(tone), shaped(gain * tone, table_of(colour), oversampled=False))
    ]
    return 20 * np.log10(np.linalg.norm(made[1] - made[0]) / np.linalg.norm(made[0]))


def test_even_harmonics_of_a_kink_are_met_at_every_level():
    smooth, cornered = (fitted(kinked, one) for one in STARTS[:2])
    for level in (-41, -21, -4):  # 4 KINK / 3 pi of the tone is its second harmonic: -33 dBc
        assert off(cornered, kinked, level) < -30  # of harmonics: -63 dBc
    assert off(smooth, kinked, -21) > -12  # a curve that is smooth at rest cannot


def test_crossover_is_met_with_a_curve_that_changes_close_to_rest():
    rest_db = 20 * np.log10(1 - DEPTH)
    cornered = fitted(crossing, STARTS[1], makeup_db=rest_db)
    assert off(cornered, crossing, -31, 10 ** (rest_db / 20)) < -20
    assert off(fitted(crossing, STARTS[0], makeup_db=rest_db), crossing, -31, 10 ** (rest_db / 20)) > -5


def clipped(x):
    return np.clip(x, -0.31, 0.52)


def test_ceilings_that_lie_unlike_are_met_between_the_levels_of_the_tones():
    ceilinged = min((fitted(clipped, one) for one in STARTS[2:]), key=lambda one: off(one, clipped, -3))
    for level in (-8, -4, -3):  # of the fit's own levels one alone lies between both ceilings
        assert off(ceilinged, clipped, level) < -30
    assert off(fitted(clipped, STARTS[0]), clipped, -4) > -15  # a curve that is smooth cannot


def test_what_is_integrated_for_closed_forms_is_what_plays():
    row = STARTS[2] + np.array([-1.0, 0.5, -2.0, 0.7, -0.3, 0.2, -1.0, 2.0, -3.0, -5.0])
    table = table_of(curve_of(Colour("behind"), 1.0, row))
    np.testing.assert_allclose(np.interp(table[:, 2], PLACES, added_by(row)), table[:, 0], atol=3e-4)


@pytest.mark.parametrize("start", STARTS)
def test_a_row_makes_the_curve_that_gives_it_back(start, rng):
    row = start + rng.uniform(-1.0, 1.0, start.size)
    np.testing.assert_allclose(row_of(curve_of(Colour("behind"), 0.3, row), 0.3), row, atol=1e-6)


def test_an_offset_that_a_filter_lets_go_is_no_harmonic():
    n = np.arange(TONE)
    sound = np.sin(2 * np.pi * HZ / RATE * n) + 0.1 * np.exp(-10 * n / TONE) - 0.02 + 0.03 * n / TONE
    heard = Heard(sound, sound, n, n, n, n, ((slice(0, TONE), HZ),))
    assert np.abs(harmonics(heard, sound, RATE)).max() < 1e-9
    third = 0.001 * np.sin(6 * np.pi * HZ / RATE * n)
    assert np.std(harmonics(heard, third, RATE)) == pytest.approx(np.std(third), rel=0.02)
