import numpy as np
import pytest

from charprobe.profile.entry import Health, Table, flags, numbers, unmeasured, where_text
from charprobe.values.errors import CharprobeError

TABLE = Table({"gain_db": [1.0, None], "settled": [True, None]}, {"gain_db": "dB", "settled": ""})


def test_a_missing_cell_or_column_leaves_a_gap():
    np.testing.assert_array_equal(numbers(TABLE, "gain_db"), [1.0, np.nan])
    np.testing.assert_array_equal(numbers(TABLE, "std_db"), [np.nan, np.nan])
    np.testing.assert_array_equal(flags(TABLE, "settled", missing=False), [True, False])
    np.testing.assert_array_equal(flags(TABLE, "used", missing=True), [True, True])


def test_a_reading_that_is_missing_needs_only_its_name():
    entries = unmeasured(["attack.t63", "static.ratio"], "no bursts", "the recipe quick")
    assert {name: entry.reading.unit for name, entry in entries.items()} == {
        "attack.t63": "s",
        "static.ratio": ":1",
    }
    with pytest.raises(KeyError, match=r"attack\.t64"):
        unmeasured(["attack.t64"], "no bursts", "the recipe quick")


@pytest.mark.parametrize(
    ("place", "text"),
    [
        ({}, ""),
        ({"channel": 2}, "channel 2"),
        ({"channel": 2, "start_s": 72.5}, "channel 2, 01:12.5"),
        ({"start_s": 9.5, "end_s": 11.0}, "00:09.5–00:11.0"),
        ({"start_s": 9.5, "end_s": 9.51}, "00:09.5"),
        ({"channel": 1, "start_s": 3.25}, ""),  # as the message says
        ({"channel": 1, "start_s": 3.5}, "00:03.5"),
    ],
)
def test_where_something_was_found_is_worded(place, text):
    assert where_text(Health("click", "warn", "A click on channel 1 at 0:00:03.250.", **place)) == text


def test_a_curve_that_lost_a_column_says_so():
    with pytest.raises(CharprobeError, match="without its column `direction`"):
        Table({"gain_db": [1.0]}, {"gain_db": "dB"}).columns["direction"]
