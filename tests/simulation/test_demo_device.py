"""The device of the demo is what its story says."""

import numpy as np
import pytest

from charprobe.simulation.demo_device import BYPASS, REPEATED, SETTINGS

BUILT = {setting.name: setting.build() for setting in (*SETTINGS, BYPASS)}


def test_names_differ_and_one_is_captured_again():
    assert len(BUILT) == len(SETTINGS) + 1
    assert REPEATED in BUILT


def test_two_settings_differ_in_their_times_alone():
    close, far = BUILT["close voice"], BUILT["far voice"]
    levels = np.arange(-60.0, 0.0, 1.0)
    np.testing.assert_array_equal(close.static_gain_db(levels), far.static_gain_db(levels))
    ratio = far.truth["release.t63"].value / close.truth["release.t63"].value
    assert ratio == pytest.approx(0.28 / 0.09, rel=1e-6)  # "breathes slower"


def test_with_both_switches_off_nothing_happens(rng):
    sound = rng.normal(0, 0.1, 1000)
    np.testing.assert_array_equal(BUILT["off"].process(sound, rate_hz=48_000, rng=rng).samples, sound)
