import numpy as np
import pytest

from charprobe.replica.flat import COLUMN, NAMES, codes_of, flatten, value_at, with_values
from charprobe.replica.parts import Bend, Cell, Chain, Detector, Smoothing

CELL = Cell(
    Detector("mean", exponent=2.0, rise_s=0.01),
    (Bend(-30.0, 0.5, 6.0), Bend(-60.0, 1.0, side="below")),
    Smoothing(attack_s=0.005, release_s=0.2),
    loop="feedback",
    link=0.5,
)


def test_every_number_stands_in_its_column_and_can_be_read_and_set_by_its_name():
    row = flatten(CELL)
    for name in NAMES:
        if not name.startswith("bends.2"):
            assert row[COLUMN[name]] == value_at(CELL, name), name
    moved = with_values(Chain(cell=CELL), ["cell.bends.1.slope", "latency_s"], [2.0, 0.001])
    assert (moved.cell.bends[1].slope, moved.cell.bends[0], moved.latency_s) == (2.0, CELL.bends[0], 0.001)
    assert CELL.bends[1].slope == 1.0


def test_the_structure_is_another_code_for_another_choice():
    codes = codes_of(CELL)
    assert codes.tolist() == [1, 2, 0, 1, 0, 1, 0, 1, 0]
    np.testing.assert_array_equal(codes_of(with_values(CELL, ["link"], [0.0])), codes)


@pytest.mark.parametrize("name", ["cell.bends.7.slope", "cell.no"])
def test_a_place_that_is_none_is_refused(name):
    with pytest.raises((IndexError, AttributeError)):
        value_at(Chain(cell=CELL), name)
