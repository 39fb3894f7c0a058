import numpy as np
import pytest

from charprobe.listening.aligning.delay_track import DelayTrack
from charprobe.listening.aligning.time_map import fit_map


def test_windows_that_rest_on_one_loud_moment_do_not_upset_the_time_map():
    position = np.array([1000.0, 1000.0, 2000.0, 3000.0, 3000.0])
    flat = np.ones(position.size)
    track = DelayTrack(position, 7.0 + 1e-5 * position, 1e-4 * flat, 1e-6 * flat, flat, 0.0)
    fitted = fit_map(track, frames=4000).map
    assert abs(fitted.delay_at(2000.0) - 7.02) < 1e-3


def test_a_track_of_one_place_only_has_a_delay_and_no_drift_to_tell():
    position, flat = np.full(4, 500.0), np.ones(4)
    fitted = fit_map(DelayTrack(position, 3.25 * flat, 1e-4 * flat, 1e-6 * flat, flat, 0.0), frames=1000)
    assert abs(fitted.map.delay_at(500.0) - 3.25) < 1e-3


@pytest.mark.parametrize("stray", [0, 9, 19])
def test_a_lone_stray_window_is_no_change_of_latency_wherever_it_lies(stray):
    position = np.linspace(0, 480_000, 20)
    delay = np.full(20, 100.0)
    delay[stray] = 87_364.0  # a steady tone agrees with itself at other places
    flat = np.ones(20)
    fitted = fit_map(DelayTrack(position, delay, 1e-4 * flat, 1e-6 * flat, flat, 0.0), frames=480_000)
    assert fitted.map.starts == (0,)
    assert fitted.map.offsets[0] == 100.0
