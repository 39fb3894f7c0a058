import numpy as np
import pytest
from burst_device import exponential
from timed_edges import times

from charprobe.values.quantity import Unmeasured


def test_hold_and_initial_slope(rng):
    device = exponential(attack_s=0.004, release_s=0.08, depth_db=12, hold_s=0.4, dead_s=0.02)
    attack, release = times(device, rng)
    assert release.start.value == pytest.approx(0.02, abs=2 / 48_000)  # the goal: two samples
    assert attack.start.value == pytest.approx(0.0, abs=2 / 48_000)
    assert attack.initial_slope.value == pytest.approx(-3.0, rel=0.05)  # 12 dB in 4 ms; fitted over 35 %


def test_look_ahead_shows_as_a_negative_start(rng):
    ahead_s = 0.003

    def device(since_rise, since_fall):
        # an ideal gain that ramps down in 2 ms, beginning 3 ms before the edge
        return (
            -9
            * np.clip((since_rise + ahead_s) / 0.002, 0, 1)
            * np.where(since_fall < 0, 1, np.exp(-since_fall / 0.05))
        )

    attack, _ = times(device, rng)
    assert attack.start.value == pytest.approx(-ahead_s, abs=2 / 48_000)  # the goal: two samples
    assert attack.t50.at_most == attack.resolution_s  # done when the edge comes out: never a negative time


@pytest.mark.parametrize("how", ["jumps", "smoothly"])
def test_a_gain_that_jumps_or_starts_smoothly_has_no_first_speed(how, rng):
    def device(since_rise, since_fall):
        t = np.maximum(since_rise, 0.0)
        fall = -6 * (since_rise > 0) - 6 * (1 - np.exp(-t / 0.01))  # half of it at once
        if how == "smoothly":
            fall = -12 * (1 - (1 + t / 0.01) * np.exp(-t / 0.01))
        return fall * np.where(since_fall < 0, 1, np.exp(-np.maximum(since_fall, 0) / 0.05))

    speed = times(device, rng)[0].initial_slope
    assert isinstance(speed, Unmeasured)


def test_a_first_speed_that_may_be_none_is_no_number(rng):
    device = exponential(attack_s=0.0002, release_s=0.5, depth_db=2, hold_s=0.4)
    assert isinstance(times(device, rng, noise_dbfs=-60.0)[0].initial_slope, Unmeasured)
    assert times(device, rng)[0].initial_slope.high < 0


def test_a_slight_movement_ahead_of_the_edge_leaves_start_and_speed_unsure(rng):
    fall = exponential(attack_s=0.004, release_s=0.08, depth_db=12, hold_s=0.4)

    def device(since_rise, since_fall):  # a copy of the sound, ahead by 1.3 ms, moves the gain by 0.05 dB
        ahead = (since_rise > -0.0013) & (since_fall < 0)
        return fall(since_rise, since_fall) - 0.05 * ahead

    attack, _ = times(device, rng, noise_dbfs=-100.0)
    assert attack.start.low <= -0.0013 < -attack.resolution_s <= attack.start.high
    speed = attack.initial_slope
    assert isinstance(speed, Unmeasured) or speed.low <= -3.0 <= speed.high
