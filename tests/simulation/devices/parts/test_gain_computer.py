import numpy as np
import pytest

from charprobe.simulation.devices.parts.gain_computer import Bend, reduction_db, slope_of, threshold_1db_dbfs

LEVELS = np.linspace(-60, 0, 241)


@pytest.mark.parametrize("ratio", [1.2, 4, np.inf, -5])
@pytest.mark.parametrize("knee_db", [0, 6, 20])
def test_curve_equals_the_three_branch_form(ratio, knee_db):
    threshold = -24.0
    reduction = Bend(threshold, slope_of(ratio), knee_db).reduction_db(LEVELS)
    output = LEVELS.copy()  # the textbook's branches, written for the output level
    inside = 2 * np.abs(LEVELS - threshold) <= knee_db
    above = 2 * (LEVELS - threshold) > knee_db
    if knee_db:
        output[inside] += (1 / ratio - 1) * (LEVELS[inside] - threshold + knee_db / 2) ** 2 / (2 * knee_db)
    output[above] = threshold + (LEVELS[above] - threshold) / ratio
    np.testing.assert_allclose(LEVELS - reduction, output, rtol=0, atol=1e-12)  # rounding


@pytest.mark.parametrize(
    ("knee_db", "ratio", "shift_db"), [(0, 4, 1.33), (6, 2, 1.90), (6, 10, 0.65), (12, 4, -0.34)]
)
def test_1_db_threshold_equals_the_tabled_shift(knee_db, ratio, shift_db):
    found = threshold_1db_dbfs(Bend(-20, slope_of(ratio), knee_db))
    assert found == pytest.approx(-20 + shift_db, abs=0.005)  # the table is rounded to 0.01


def test_1_db_threshold_has_lost_1_db():
    bend = Bend(-20, slope_of(3), 9)
    assert bend.reduction_db(np.array(threshold_1db_dbfs(bend))) == pytest.approx(1, abs=1e-12)


def test_expander_falls_below_and_stops_at_its_range():
    gate = Bend(-50, 3, side="below", most_db=20)
    np.testing.assert_allclose(gate.reduction_db(np.array([-40.0, -52.0, -80.0])), [0, 6, 20])


def test_bends_add():
    both = reduction_db((Bend(-30, 0.5), Bend(-10, 0.5)), np.array([-20.0, 0.0]))
    np.testing.assert_allclose(both, [5, 20])  # 10 dB and 30 + 10 dB over, half of each


def test_ratio_between_0_and_1_is_refused():
    with pytest.raises(ValueError, match="ratio must be >= 1"):
        slope_of(0.5)
