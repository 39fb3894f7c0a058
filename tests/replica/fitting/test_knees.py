import numpy as np
import pytest

from charprobe.replica.fitting.knees import by_knee, by_width, spread_by_knee
from charprobe.replica.flat import COLUMN, flatten, value_at, with_values
from charprobe.replica.parts import Bend, Cell, Chain

PLACES = [f"cell.bends.0.{key}" for key in ("threshold_dbfs", "slope", "knee_db")]


@pytest.mark.parametrize("bend", [Bend(-20.0, 0.7, 9.0), Bend(-31.0, 1.3, 0.0), Bend(-8.0, -0.4, 3.0)])
def test_a_bend_comes_back_from_its_width(bend):
    cell = Cell(bends=(bend,))
    np.testing.assert_allclose(flatten(by_knee(by_width(cell))), flatten(cell), rtol=1e-12)


def test_the_spread_is_turned_as_small_steps_turn():
    cell = by_width(Cell(bends=(Bend(-20.0, 0.7, 9.0),)))
    columns = [COLUMN[place.removeprefix("cell.")] for place in PLACES]
    moved = [with_values(Chain(cell=cell), [one], [value_at(Chain(cell=cell), one) + 1e-6]) for one in PLACES]
    rows = np.stack([flatten(by_knee(one))[columns] for one in (cell, *(chain.cell for chain in moved))])
    steps = (rows[1:] - rows[0]).T / 1e-6
    np.testing.assert_allclose(spread_by_knee(PLACES, by_knee(cell)), steps, atol=1e-5)


def test_within_a_knee_the_straight_part_moves_nothing():
    beyond = 4.0  # dB above where the knee begins, inside it for every slope here
    amounts = []
    for slope in (0.5, 0.6, 0.9):
        bend = by_knee(Cell(bends=(Bend(-30.0, slope, 20.0),))).bends[0]
        inside = -30.0 + beyond - bend.threshold_dbfs + bend.knee_db / 2
        amounts.append(slope * inside**2 / (2 * bend.knee_db))  # the quadratic knee
    np.testing.assert_allclose(amounts, beyond**2 / 40.0)
