import numpy as np
import pytest

from charprobe.replica.fitting.knees import by_knee, by_width, rows_by_knee, spread_by_knee
from charprobe.replica.flat import COLUMN, flatten
from charprobe.replica.parts import Bend, Cell

PLACES = [f"cell.bends.0.{key}" for key in ("threshold_dbfs", "slope", "knee_db")]


@pytest.mark.parametrize("bend", [Bend(-20.0, 0.7, 9.0), Bend(-31.0, 1.3, 0.0), Bend(-8.0, -0.4, 3.0)])
def test_a_bend_comes_back_from_its_width_as_a_cell_and_as_a_row(bend):
    cell = Cell(bends=(bend,))
    back = by_knee(by_width(cell)).bends[0]
    rows = flatten(by_width(cell))[None]
    rows_by_knee(rows)
    np.testing.assert_allclose(rows[0], flatten(cell), rtol=1e-12)
    assert (back.threshold_dbfs, back.knee_db) == pytest.approx((bend.threshold_dbfs, bend.knee_db))


def test_the_spread_is_turned_as_small_steps_turn():
    cell = by_width(Cell(bends=(Bend(-20.0, 0.7, 9.0),)))
    columns = [COLUMN[place.removeprefix("cell.")] for place in PLACES]
    rows = np.repeat(flatten(cell)[None], 4, axis=0)
    for row, column in enumerate(columns):
        rows[row + 1, column] += 1e-6
    rows_by_knee(rows)
    steps = (rows[1:, columns] - rows[0, columns]).T / 1e-6
    np.testing.assert_allclose(spread_by_knee(PLACES, by_knee(cell)), steps, atol=1e-5)


def test_within_a_knee_the_straight_part_moves_nothing():
    beyond = 4.0  # dB above where the knee begins, inside it for every slope here
    amounts = []
    for slope in (0.5, 0.6, 0.9):
        bend = by_knee(Cell(bends=(Bend(-30.0, slope, 20.0),))).bends[0]
        inside = -30.0 + beyond - bend.threshold_dbfs + bend.knee_db / 2
        amounts.append(slope * inside**2 / (2 * bend.knee_db))  # the quadratic knee
    np.testing.assert_allclose(amounts, beyond**2 / 40.0)
