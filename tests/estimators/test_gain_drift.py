import numpy as np
import pytest

from charprobe.estimators.gain_drift import STEADY, gain_drift

TIME_S = np.linspace(2.0, 20.0, 40)
STD_DB = np.full(40, 0.001)
ONE = np.zeros(40, dtype=int)


def test_scatter_alone_is_hardly_ever_a_step_and_leaves_little(rng):
    found = [gain_drift(TIME_S, rng.normal(0, STD_DB), std_db=STD_DB, group=ONE) for _ in range(500)]
    assert (
        sum(one.kind is not None for one in found) <= 5
    )  # once in 500 takes expected; more than 5: p < 1e-3
    # halves of 20 references each
    assert np.median([one.std_db for one in found]) == pytest.approx(0.001 * np.sqrt(2 / 20), rel=0.15)


def test_a_step_is_sized_placed_and_reached_over(rng):
    gain = rng.normal(0, STD_DB) + np.where(TIME_S > 12, -0.02, 0.0)
    found = gain_drift(TIME_S, gain, std_db=STD_DB, group=ONE)
    assert found.kind == "step"
    assert found.size_db == pytest.approx(-0.02, abs=4 * 0.001 * np.sqrt(2 / 15))
    assert found.before_s <= 12 <= found.after_s
    # over the step and how surely it is known: 0.001 dB over the roots of 12 and 8 references
    known_db = 0.001 * np.hypot(12**-0.5, 8**-0.5)
    assert 1.96 * found.std_db == pytest.approx(abs(found.size_db) + 1.96 * known_db, rel=0.05)
    assert found.explained > 0.9


def test_a_drift_reaches_back_to_the_start_of_the_take(rng):
    found = gain_drift(TIME_S, rng.normal(0, STD_DB) + 0.003 * TIME_S, std_db=STD_DB, group=ONE)
    assert found.kind == "drift"
    assert found.size_db == pytest.approx(0.003 * 18, abs=0.003)
    assert 1.96 * found.std_db == pytest.approx(0.003 * 20, abs=0.004)
    assert 1.96 * found.std_until_db(50.0) == pytest.approx(0.003 * 50, abs=0.01)  # and on to its end


def test_groups_of_unlike_gain_are_compared_within_themselves(rng):
    group = np.arange(40) % 4
    gain = rng.normal(0, STD_DB) + 3.0 * group
    assert gain_drift(TIME_S, gain, std_db=STD_DB, group=group).kind is None
    moved = gain_drift(TIME_S, gain + 0.01 * (TIME_S > 9), std_db=STD_DB, group=group)
    assert moved.kind == "step" and moved.size_db == pytest.approx(0.01, abs=0.002)


def test_too_few_references_say_nothing():
    two = np.array([1.0, 2.0])
    assert gain_drift(two, two, std_db=two, group=np.zeros(2)) is STEADY


def test_a_gain_that_goes_and_comes_back_is_reached_over_wholly(rng):
    there_and_back = np.where((TIME_S > 5) & (TIME_S < 15), 0.05, 0.0)
    found = gain_drift(TIME_S, there_and_back + rng.normal(0, STD_DB), std_db=STD_DB, group=ONE)
    assert found.explained < 0.9
    assert 1.96 * found.std_db == pytest.approx(0.05, abs=0.004)  # four of the noise
