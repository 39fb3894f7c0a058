import numpy as np
import pytest
from held_truths import expected_inside

from charprobe.estimators.timing.edge.tail import fit_tail

T = np.linspace(0.15, 0.6, 500)
NOISE_DB = 1e-3
REST_DB, LEFT_DB, TAU_S = -1.5, 6.0, 0.25


def exponential(t):
    return np.exp(-t / TAU_S)


def as_one_over_time(t):
    """What r' = -r (1 + 2 r) / TAU_S leaves of r = 1."""
    return 1 / (3 * np.exp(t / TAU_S) - 2)


def smoothed_power_in_db(t):
    """A power that falls exponentially, seen in dB and scaled to 1."""
    return np.log1p(3 * np.exp(-t / TAU_S)) / np.log(4)


def smoothed_factor_in_db(t):
    """What an exponential takes from a gain factor, three quarters at first, seen in dB and scaled to 1."""
    return np.log1p(-0.75 * np.exp(-t / TAU_S)) / np.log(0.25)


def tail(law, rng=None):
    gain = REST_DB - LEFT_DB * law(T)
    noise = 0.0 if rng is None else rng.normal(0, NOISE_DB, T.size)
    return fit_tail(T, gain + noise, np.full(T.size, NOISE_DB), at_s=float(T[-1]))


@pytest.mark.parametrize("law", [exponential, as_one_over_time])
def test_a_law_of_the_family_is_followed_to_its_rest(law):
    found = tail(law)
    assert abs(found.rest_db - REST_DB) < 0.5 * found.rest_std_db
    assert found.at_db == pytest.approx(REST_DB - LEFT_DB * law(0.6), abs=0.2 * NOISE_DB)


@pytest.mark.parametrize("law", [exponential, as_one_over_time, smoothed_power_in_db, smoothed_factor_in_db])
def test_intervals_of_the_rest_hold_whatever_the_law(law, rng):
    draws = 20
    found = [tail(law, rng) for _ in range(draws)]
    held = sum(abs(one.rest_db - REST_DB) < 1.96 * one.rest_std_db for one in found)
    assert held >= expected_inside(draws)
    assert np.median([one.rest_std_db for one in found]) < 0.01 * LEFT_DB  # and tell something


def test_a_movement_that_shows_no_bend_tells_of_no_rest(rng):
    found = tail(lambda t: 1 - 0.5 * t, rng)
    assert found.rest_std_db > 0.05 * LEFT_DB


@pytest.mark.parametrize("depth_db", [0.01, 12.0])  # an exponential, and an amplitude's, seen in dB
def test_a_rest_far_beyond_the_record_is_held_by_its_interval(rng, depth_db):
    t, grown = np.geomspace(0.25, 1.0, 200), 10 ** (depth_db / 20) - 1
    off = []
    for tau in np.geomspace(0.08, 4.0, 20):
        left = np.log1p(grown * np.exp(-t / tau)) / np.log1p(grown)
        s = np.full(t.size, 1e-3)
        found = fit_tail(t, 3.0 - 6.0 * left + rng.normal(0, s), s, at_s=1.0)
        off.append(abs(found.rest_db - 3.0) / np.hypot(found.rest_std_db, found.unrest))
    # five in a hundred lie beyond 1.96: of twenty more than four do in one run of four hundred
    assert np.count_nonzero(np.array(off) > 1.96) <= 4
