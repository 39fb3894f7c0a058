"""What rules look at: numbers, bounds and steps, and nothing where there is none."""

import numpy as np

from charprobe.measuring.consistency.readings import Readings
from charprobe.profile.entry import Entry, Table
from charprobe.values.quantity import Quantity, Unmeasured

COLUMNS = {
    "input_dbfs": [-10.0, -30.0, -20.0],
    "gain_db": [-1.0, 0.5, None],
    "std_db": [0.1, 0.2, 0.3],
    "used": [True, True, False],
}
READ = Readings(
    {
        "static.ratio": Entry(Quantity(2.0, 1.9, 2.1, ":1"), ""),
        "attack.t63": Entry(Unmeasured("s", "r", "n", at_least=0.1), ""),
    },
    {"static": Table(COLUMNS, dict.fromkeys(COLUMNS, ""))},
)


def test_numbers_and_bounds_are_told_apart():
    assert READ.number("static.ratio").value == 2.0
    assert READ.bound("static.ratio") is None
    assert READ.number("attack.t63") is None
    assert READ.bound("attack.t63") == 0.1
    assert READ.number("release.t63") is READ.bound("release.t63") is None


def test_steps_in_use_come_by_rising_level():
    for found, truth in zip(READ.steps(), ([-30, -10], [0.5, -1.0], [0.2, 0.1]), strict=True):
        np.testing.assert_array_equal(found, truth)
    assert [column.size for column in Readings({}, {}).steps()] == [0, 0, 0]
    assert np.isnan(READ.column("static", "gain_db")).tolist() == [False, False, True]
    assert READ.column("harmonics", "h2_dbc").size == 0
