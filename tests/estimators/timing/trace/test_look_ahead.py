import numpy as np
import pytest

from charprobe.estimators.timing.trace.look_ahead import ROOM, looks_ahead_s

TIME_S = np.arange(-0.3, 0.3, 1e-4)
STD_DB = np.full(TIME_S.size, 1e-3)


def moved(ahead_s, *, by_db=-6.0, before_db_per_s=0.0):
    after = np.maximum(TIME_S + ahead_s, 0.0)
    return by_db * (1 - np.exp(-after / 0.004)) + before_db_per_s * TIME_S


@pytest.mark.parametrize("ahead_s", [0.003, 0.02])
def test_a_gain_that_moves_before_its_edge_is_seen_to_look_ahead(ahead_s):
    found_s = looks_ahead_s(TIME_S, moved(ahead_s), STD_DB)
    assert ahead_s < ROOM * ahead_s == pytest.approx(found_s, rel=0.1)


def test_a_gain_that_waits_or_was_moving_all_along_does_not(rng):
    noise = rng.normal(0, 1e-3, TIME_S.size)
    assert looks_ahead_s(TIME_S, moved(0.0) + noise, STD_DB) == 0
    assert looks_ahead_s(TIME_S, moved(0.02, before_db_per_s=-5.0) + noise, STD_DB) == 0
    assert looks_ahead_s(TIME_S, noise, STD_DB) == 0
