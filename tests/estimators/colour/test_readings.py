"""Ladders of tones whose harmonics are set: balance and growth in closed form."""

from dataclasses import replace

import numpy as np
import pytest

from charprobe.estimators.colour.harmonic_cell import HarmonicCell
from charprobe.estimators.colour.level_rung import LevelRung
from charprobe.estimators.colour.readings import even_odd_balance, growth_laws, input_at_thd, stays_above
from charprobe.estimators.tone import ToneFit
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.quantity import Quantity, Unmeasured

A2, A3 = 0.02, 0.01


def rung(level_dbfs, *, second=A2, third=A3, std=1e-9):
    """A tone through x + a2 x**2 + a3 x**3, small: its harmonics go with the powers of its amplitude."""
    a = 10 ** (level_dbfs / 20)
    amplitudes = np.array([a, second * a**2 / 2, third * a**3 / 4], complex)
    fit = ToneFit(997.0, 0.0, 0.0, amplitudes, np.full(3, std))
    tone = Tone(0, 9600, 997.0, level_dbfs, 0.0, 240, 0)
    cell = HarmonicCell(tone, fit, amplitudes[1:] / a, np.full(2, std / a), np.zeros(2))
    return LevelRung(level_dbfs, 0.0, cell, None)


def test_balance_is_the_even_power_over_the_odd():
    found = even_odd_balance(rung(-6.0).cell)
    a = 10 ** (-6 / 20)
    assert found.value == pytest.approx(20 * np.log10(A2 * a**2 / 2 / (A3 * a**3 / 4)), abs=1e-6)
    assert even_odd_balance(rung(-6.0, second=0.0).cell).at_most < -100
    assert even_odd_balance(rung(-6.0, third=0.0).cell).at_least > 100


def test_an_order_of_one_power_grows_by_that_many_db_per_db():
    laws = {law.order: law for law in growth_laws([rung(level) for level in (-30.0, -20.0, -10.0, -3.0)])}
    assert {order: law.slope.value for order, law in laws.items()} == pytest.approx(
        {2: 2.0, 3: 3.0}, abs=1e-6
    )
    assert (laws[2].from_dbfs, laws[2].to_dbfs) == (-30.0, -3.0)


def test_the_level_of_a_distortion_is_where_the_second_harmonic_has_it():
    ladder = [rung(level, third=0.0) for level in (-30.0, -24.0, -18.0, -12.0)]
    found = input_at_thd(ladder, target_dbc=-60.0)
    truth = 20 * np.log10(1e-3 / (A2 / 2))  # a2 a / 2 = 1e-3
    assert isinstance(found, Quantity)
    assert found.value == pytest.approx(truth, abs=1e-3)
    never = input_at_thd(ladder, target_dbc=-20.0)
    assert isinstance(never, Unmeasured) and never.at_least == -12.0


def test_where_noise_hides_lower_tones_the_level_reaches_down_to_one_that_surely_is_clean():
    hidden = [rung(level, third=0.0, std=std) for level, std in ((-40.0, 1e-7), (-24.0, 1e-3), (-18.0, 1e-7))]
    found = input_at_thd(hidden, target_dbc=-60.0)  # -20 dBFS in truth
    assert (found.low, found.high) == (-40.0, -18.0)
    unsure = input_at_thd(hidden[1:], target_dbc=-60.0)
    assert isinstance(unsure, Unmeasured) and unsure.at_most == -18.0


@pytest.mark.parametrize(("seconds", "always"), [((2.0, 2.0, 2.0), True), ((2.0, 2e-3, 2.0), False)])
def test_distortion_is_above_at_every_level_only_if_it_is_at_each(seconds, always):
    rungs = [rung(-40.0 + 10 * i, second=second) for i, second in enumerate(seconds)]
    assert stays_above(rungs, target_dbc=-60.0) is always
    found = input_at_thd(rungs, target_dbc=-60.0)
    assert found.at_most == -40.0
    assert ("every level" in found.reason) is always


def test_a_tone_on_a_gates_slope_is_not_at_rest_though_the_gain_at_rest_is_not_known():
    gate, saturator = (replace(rung(-40.0), reduction_db=None, steepness=slope) for slope in (2.5, -0.3))
    assert (gate.opening, gate.idle) == (True, False)
    assert (saturator.opening, saturator.idle) == (False, True)


def test_what_a_gate_takes_off_a_quiet_tone_is_no_saturation_however_strong_its_harmonics():
    strong = replace(rung(-40.0, third=4e4), reduction_db=5.0)
    gate, saturator = (replace(strong, steepness=slope) for slope in (2.5, -0.3))
    assert (gate.idle, saturator.idle) == (False, True)
