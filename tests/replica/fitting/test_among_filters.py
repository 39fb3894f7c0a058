"""Where filters stand around a curve, told by tones whose harmonics are closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from charprobe.replica.fitting.among_filters import ORDERS, Shown, around
from charprobe.replica.fitting.filter_fit import Linear
from charprobe.replica.parts import Section

RATE = 48_000
HZ = np.repeat([110.0, 997.0, 5003.0], 6)
SIZE = np.tile(10 ** (np.array([-40, -30, -20, -10, -5, -2]) / 20), 3)
SWEPT_HZ = np.geomspace(15.0, 20_000.0, 100)
SQUARE, CUBE = 0.02, -0.06  # of the curve: y = x + SQUARE x² + CUBE x³


def shelf(hz, corner_hz, gain_db):
    """A first-order treble shelf: half its gain in dB at the corner."""
    root, u = 10 ** (gain_db / 40), 1j * hz / corner_hz
    return (1 + u * root) / (1 + u / root)


def cut(hz, corner_hz):
    return 1j * hz / (1j * hz + corner_hz)


def shown(ahead, behind, linear):
    """Tones and sweep through two filters around the curve, by multiple angles."""
    a = np.abs(drive := SIZE * ahead(HZ))
    made = np.zeros((HZ.size, ORDERS.size), dtype=complex)
    made[:, :3] = np.transpose([a + 3 / 4 * CUBE * a**3, SQUARE * a**2 / 2, CUBE * a**3 / 4])
    made *= np.exp(1j * np.outer(np.angle(drive), ORDERS)) * behind(np.outer(HZ, ORDERS))
    finest = np.where(ORDERS > 1, 3e-5, 1e-3) * np.abs(made[:, :1])
    weight = np.where(np.outer(HZ, ORDERS) < 0.44 * RATE, 1 / np.hypot(1e-7, finest), 0.0)
    made[weight == 0] = 0.0
    return Shown(HZ, SIZE, made, weight, (SWEPT_HZ, ahead(SWEPT_HZ) * behind(SWEPT_HZ)), linear, RATE)


@pytest.mark.parametrize("gain_db", [8.0, -8.0])
def test_filters_that_undo_each_other_are_told_though_no_sweep_shows_them(gain_db):
    told = around(
        shown(lambda hz: shelf(hz, 2100.0, gain_db), lambda hz: shelf(hz, 2100.0, -gain_db), Linear())
    )
    [ahead], [behind] = told.linear.ahead, told.linear.sections
    for one, gain in ((ahead, gain_db), (behind, -gain_db)):
        assert one.kind == "high shelf"
        assert one.frequency_hz == pytest.approx(2100.0, rel=0.02)
        assert one.gain_db == pytest.approx(gain, abs=0.1)
    assert told.close < 1e-3


def test_what_low_notes_add_is_a_curve_between_what_integrates_and_what_undoes_it():
    """A leaky integral's cube, differentiated: its third harmonic falls by 12 dB from octave to octave."""

    def integrated(hz):
        return 90.0 / (1j * hz + 5.0)

    told = around(shown(integrated, lambda hz: 1 / integrated(hz), Linear()))
    assert told.close < 0.01
    [ahead], [behind] = told.linear.ahead, told.linear.sections
    assert ahead.gain_db == pytest.approx(-behind.gain_db, abs=0.5)
    assert ahead.kind == "low shelf" and ahead.gain_db > 40


@pytest.mark.parametrize("side", ["ahead", "behind"])
def test_a_cut_that_a_sweep_shows_is_put_on_its_side_of_the_curve(side):
    flat, low = (lambda hz: np.ones(np.shape(hz))), (lambda hz: cut(hz, 60.0))
    linear = Linear((Section("low cut", 55.0),))
    told = around(shown(*((low, flat) if side == "ahead" else (flat, low)), linear))
    one, none = (
        (told.linear.ahead, told.linear.sections)
        if side == "ahead"
        else (told.linear.sections, told.linear.ahead)
    )
    assert none == () and [section.kind for section in one] == ["low cut"]
    assert one[0].frequency_hz == pytest.approx(60.0, rel=1e-3)


def test_what_is_no_function_of_what_enters_is_not_close():
    one = shown(lambda hz: np.ones(np.shape(hz)), lambda hz: np.ones(np.shape(hz)), Linear())
    turned_down = 10 ** (-np.maximum(0, 20 * np.log10(SIZE) + 20) / 40)[:, None]  # a gain cell: no harmonics
    assert around(one).close < 1e-3
    assert around(replace(one, made=one.made * turned_down)).close > 0.03
