import numpy as np
import pytest

from charprobe.replica.coefficients import (
    ATTACK,
    CUT_A1,
    CUT_B0,
    HOLD,
    SCALE,
    SHELF_A,
    SHELF_B0,
    SHELF_B1,
    coefficients,
    quadrature_sections,
)
from charprobe.replica.flat import codes_of, flatten
from charprobe.replica.parts import Cell, Detector, Smoothing

RATE_HZ = 48_000.0


def row_of(cell, rate_hz=RATE_HZ):
    return coefficients(flatten(cell)[None, :], codes_of(cell), rate_hz=rate_hz)[0]


@pytest.mark.parametrize("rate_hz", [44_100.0, 192_000.0])
def test_a_time_constant_is_a_share_of_e_at_any_rate(rate_hz):
    row = row_of(Cell(smoothing=Smoothing(attack_s=0.01, hold_s=0.02)), rate_hz)
    assert row[ATTACK] ** (0.01 * rate_hz) == pytest.approx(np.exp(-1))
    assert row[HOLD] == round(0.02 * rate_hz)
    assert row_of(Cell())[ATTACK] < 1e-300  # no time follows at once


@pytest.mark.parametrize(("exponent", "mean"), [(1.0, 2 / np.pi), (2.0, 0.5), (4.0, 0.375)])
def test_a_mean_of_powers_is_scaled_by_that_of_a_sine(exponent, mean):
    assert 1 / row_of(Cell(detector=Detector("mean", exponent=exponent)))[SCALE] == pytest.approx(mean)


@pytest.mark.parametrize(
    ("q", "corner_db", "octave_below_db"),
    [(0.0, -3.0103, -6.9897), (np.sqrt(0.5), -3.0103, -12.3045), (0.5, -6.0206, -13.9794)],
)
def test_filters_of_the_side_chain_meet_their_corners(q, corner_db, octave_below_db):
    row = row_of(Cell(detector=Detector(low_cut_hz=100.0, low_cut_q=q, shelf_hz=3000.0, shelf_db=6.0)))
    z = np.exp(-2j * np.pi * np.array([100.0, 3000.0, 23_999.0, 50.0]) / RATE_HZ)
    top, bottom = row[CUT_B0 : CUT_B0 + 3], [1.0, *row[CUT_A1 : CUT_A1 + 2]]
    cut = np.polyval(top[::-1], z) / np.polyval(bottom[::-1], z)
    shelf = (row[SHELF_B0] + row[SHELF_B1] * z) / (1 - row[SHELF_A] * z)
    # |H|^2 = w^2 / (1 + w^2), or w^4 / (w^4 + w^2 (1/q^2 - 2) + 1)
    assert 20 * np.log10(abs(cut[[0, 3]])) == pytest.approx([corner_db, octave_below_db], abs=1e-3)
    assert abs(cut[2]) == pytest.approx(1.0, abs=1e-4)
    assert 20 * np.log10(abs(shelf[1:3])) == pytest.approx([3.0, 6.0], abs=1e-3)
    assert 20 * np.log10(abs(shelf[0])) == pytest.approx(0.0, abs=0.02)


def test_two_chains_keep_a_quarter_period_apart_from_the_split_up():
    one, two = quadrature_sections(RATE_HZ, 60.0)
    z = np.exp(-2j * np.pi * np.geomspace(60, 23_940, 200) / RATE_HZ)

    def chain(squares):
        return np.prod([(c - z**2) / (1 - c * z**2) for c in squares], axis=0)

    assert np.degrees(np.angle(chain(two) * z / chain(one))) == pytest.approx(-90.0, abs=0.1) or np.degrees(
        np.angle(chain(two) * z / chain(one))
    ) == pytest.approx(90.0, abs=0.1)
