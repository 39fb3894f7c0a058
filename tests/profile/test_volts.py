import math

import pytest

from charprobe.profile.volts import VoltsReading, calibrate_volts
from charprobe.values.quantity import Quantity

ZERO_DBU = math.sqrt(0.001 * 600)  # definition: 1 mW into 600 ohms


def read(level_dbfs, full_scale_dbu=18.0, error_db=0.0):
    return VoltsReading(level_dbfs, ZERO_DBU * 10 ** ((level_dbfs + full_scale_dbu + error_db) / 20))


def test_readings_on_a_line_of_slope_one_give_full_scale():
    found = calibrate_volts([read(-10), read(-20), read(-40)])
    assert found.full_scale.value == pytest.approx(18.0, abs=1e-9)  # rounding
    assert found.slope.value == pytest.approx(1.0, abs=1e-9)
    assert found.warnings == ()


def test_levels_are_converted_with_both_intervals():
    level = found = calibrate_volts([read(-10), read(-30)]).dbu(Quantity.from_std(-22.0, 0.05, "dBFS"))
    assert level.value == pytest.approx(-4.0, abs=1e-9)
    assert found.std == pytest.approx(
        math.hypot(0.05, 0.1 / math.sqrt(2)), rel=1e-6
    )  # a meter of 0.1 dB, twice
    assert found.unit == "dBu"


def test_a_wrong_slope_is_warned_about():
    found = calibrate_volts([read(-10), read(-30, error_db=2.0)])
    assert any("instead of 1" in warning for warning in found.warnings)


def test_a_mistyped_reading_is_warned_about():
    found = calibrate_volts([read(-10), read(-20, error_db=20.0), read(-40)])
    assert any("off one line" in warning for warning in found.warnings)


def test_one_level_alone_is_warned_about():
    assert "only one level" in calibrate_volts([read(-10)]).warnings[0]


def test_no_volts_are_the_callers_mistake():
    with pytest.raises(ValueError, match="above 0 V"):
        calibrate_volts([VoltsReading(-10.0, 0.0)])
