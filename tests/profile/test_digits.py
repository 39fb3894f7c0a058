import math

import numpy as np
import pytest

from charprobe.profile.digits import rounded, rounded_entry, rounded_table
from charprobe.profile.entry import Entry, Table
from charprobe.values.quantity import Quantity, Unmeasured


def test_a_number_keeps_six_digits_and_zero_has_no_sign():
    assert rounded(123456.789) == 123457.0
    assert rounded(-0.00012345649) == -0.000123456
    assert math.copysign(1, rounded(-0.0)) == 1
    for value in (math.nan, math.inf):
        with pytest.raises(ValueError, match="finite numbers only"):
            rounded(value)


@pytest.mark.parametrize("reach", [1e-3, 1e-6, 1e-9])
def test_an_interval_loses_less_than_a_hundredth_of_its_width(reach):
    value = 1.234567890123
    kept = rounded_entry(Entry(Quantity(value, value - reach, value + reach, "s"), "so")).reading
    for found, was in ((kept.value, value), (kept.low, value - reach), (kept.high, value + reach)):
        assert abs(found - was) <= max(0.01 * reach, 5e-7 * abs(was) if reach > 1e-4 else 0.0)


def test_what_was_not_measured_keeps_its_bound_and_loses_its_conditions():
    entry = rounded_entry(Entry(Unmeasured("s", "why", "next", at_most=0.123456789), "at 1 kHz"))
    assert (entry.reading.at_most, entry.reading.at_least, entry.conditions) == (0.123457, None, "")


def test_cells_become_plain_values_of_their_kind():
    table = Table(
        {
            "a": np.array([1.23456789, 2.0]),
            "b": np.array([True, False]),
            "c": [3, 4],
            "d": ["x", None],
        },
        dict.fromkeys("abcd", ""),
    )
    columns = rounded_table(table).columns
    assert columns == {"a": [1.23457, 2.0], "b": [True, False], "c": [3, 4], "d": ["x", None]}
    assert [type(columns[name][0]) for name in "abc"] == [float, bool, int]
