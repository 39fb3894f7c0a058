"""The device of the demo is what its story says."""

import numpy as np
import pytest

from charprobe.simulation.demo_device import BYPASS, REPEATED, SETTINGS

BUILT = {setting.name: setting for setting in (*SETTINGS, BYPASS)}


def test_names_differ_and_one_is_captured_again():
    assert len(BUILT) == len(SETTINGS) + 1
    assert REPEATED in BUILT


def test_compressor_settings_differ_in_curve_and_in_times():
    level = [stage for name, stage in BUILT.items() if name.startswith("level")]
    assert len(level) == 4
    gains = sorted(float(stage.static_gain_db(np.array([-10.0]))[0]) for stage in level)
    assert np.diff(gains).min() > 0.5
    slow, quick = (BUILT[name].truth["release.t63"].value for name in ("level dialogue", "level shout"))
    assert slow / quick == pytest.approx(0.28 / 0.045, rel=1e-6)


def test_with_both_switches_off_nothing_happens(rng):
    sound = rng.normal(0, 0.1, 1000)
    np.testing.assert_array_equal(BUILT["off"].process(sound, rate_hz=48_000, rng=rng).samples, sound)
