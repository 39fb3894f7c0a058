"""A first-order low-pass behind or ahead of what makes harmonics, in closed form."""

import numpy as np
import pytest

from charprobe.estimators.passage import Passage, PassageAt, places

F = np.geomspace(10.0, 40_000.0, 4000)
CORNER_HZ = 3000.0


def low_pass(frequency_hz):
    return 1 / (1 + 1j * np.asarray(frequency_hz) / CORNER_HZ)


def passage_of(response):
    return Passage(F, 20 * np.log10(np.abs(response)), np.unwrap(np.angle(response)))


@pytest.mark.parametrize("order", [2, 3])
def test_behind_each_harmonic_passes_at_its_own_frequency(order):
    at = np.array([110.0, 997.0, 5003.0])
    own = low_pass(at)
    truth = low_pass(order * at) / np.abs(own) * (np.conj(own) / np.abs(own)) ** order
    placed = PassageAt("behind", passage_of(low_pass(F)))
    np.testing.assert_allclose(placed.factor(order, at), truth, rtol=1e-4)
    np.testing.assert_array_equal(placed.ripple_factor(order, at), placed.factor(order, at))


def test_ahead_a_harmonic_goes_with_a_power_of_the_drive_and_ripple_does_not():
    at = np.array([997.0, 5003.0])
    placed = PassageAt("ahead", passage_of(low_pass(F)))
    np.testing.assert_allclose(placed.factor(3, at), np.abs(low_pass(at)) ** 2, rtol=1e-4)
    np.testing.assert_array_equal(placed.ripple_factor(3, at), 1)


def test_a_delay_and_a_plain_gain_stand_nowhere():
    delayed = passage_of(0.5 * np.exp(-2j * np.pi * F * 1e-4))
    assert [one.place for one in places(delayed, np.array([110.0, 997.0]))] == ["nowhere", "ahead"]
    flat = passage_of(np.exp(-2j * np.pi * F * 1e-4))
    assert [one.place for one in places(flat, np.array([110.0, 997.0]))] == ["nowhere"]
    assert [one.place for one in places(None, np.array([997.0]))] == ["nowhere"]
