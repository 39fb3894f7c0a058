"""The clock that tones show, against captures whose clock is known in closed form."""

import numpy as np
import pytest
from played import RATE_HZ, capture, recorded, short_stimulus

from charprobe.placing.tone_clock import clock_errors_ppm, drift_from_tones, steady_tones, tone_phases
from charprobe.placing.track import Clock, Track
from charprobe.values.quantity import Quantity

STIMULUS = short_stimulus()
GUESS = Quantity(0.0, -150.0, 150.0, "ppm")


def drift_of(samples, delay, drift_ppm, **more):
    position = STIMULUS.opening.start
    index = delay + position * (1 + 1e-6 * drift_ppm)
    track = Track(capture(samples), 0, STIMULUS)
    return drift_from_tones(track, anchor_position=position, anchor_index=index, guess=GUESS, **more)


@pytest.mark.parametrize("drift_ppm", [0.0, 33.0, -400.0])
def test_the_drift_of_a_known_clock_is_found_with_an_honest_interval(drift_ppm, rng):
    found = drift_of(recorded(STIMULUS, delay=50.5, drift_ppm=drift_ppm, noise=rng), 50.5, drift_ppm)
    assert abs(found.value - drift_ppm) < 0.05  # a quarter of the goal of 0.2 ppm
    assert abs(found.value - drift_ppm) < 2 * (found.high - found.value)  # 4 sigma


def test_only_tones_before_a_cut_count(rng):
    samples = recorded(STIMULUS, delay=50.5, drift_ppm=20.0, noise=rng)
    at = STIMULUS.segments[1].span.start + 40
    moved = np.concatenate([samples[:at], rng.normal(0, 1e-6, 5000), samples[at:]])
    assert abs(drift_of(moved, 50.5, 20.0, until=at).value - 20) < 0.1


def test_where_no_tone_stands_clear_the_guess_is_given_back(rng):
    assert drift_of(rng.normal(0, 0.01, STIMULUS.length), 50.5, 0.0) is GUESS


def test_phases_against_the_right_clock_are_those_of_the_timetable_and_a_wrong_clock_is_read_off(rng):
    track = Track(capture(recorded(STIMULUS, delay=50.25, drift_ppm=33.0, noise=rng)), 0, STIMULUS)
    tones = steady_tones(STIMULUS)
    right = tone_phases(track, tones, Clock(50.25, 33.0))
    assert len(right) == len(tones)
    assert max(abs(phase.first_rad) for phase in right) < 3e-3  # 5 sigma of -110 dBFS noise at -50 dBFS
    each_ppm, std_ppm = clock_errors_ppm(tone_phases(track, tones, Clock(50.25, 30.0)), rate_hz=RATE_HZ)
    np.testing.assert_array_less(np.abs(each_ppm - 3.0), 5 * std_ppm + 0.01)


def test_tones_whose_gain_still_moves_do_not_tell_the_clock(rng):
    samples = recorded(STIMULUS, delay=50.0, noise=rng)
    for tone in (tone for segment in STIMULUS.segments[1:] for tone in segment.tones):
        part = np.linspace(0, 1, tone.length)  # as two bands do on their way: 0.9 dB and 0.1 rad
        phase = 2 * np.pi * tone.frequency_hz / RATE_HZ * np.arange(tone.length) + tone.phase_rad + 0.1 * part
        level = 10 ** (tone.level_dbfs / 20) * np.exp(0.1 * part)
        samples[50 + tone.start : 50 + tone.stop] = level * np.cos(phase)
    assert (
        abs(drift_of(samples, 50.0, 0.0).value) < 0.05
    )  # level steps are steady; the others turn by 1 ppm and more
