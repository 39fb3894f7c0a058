"""Level steps of devices whose gain follows a closed form, sampled by a drifting recorder."""

import numpy as np
import pytest
from benchmarks.static_devices import Bend, Device, record

from charprobe.estimators.static.level_steps import measure_level_steps
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.values.cut import Cut
from charprobe.values.errors import SegmentTooShortError

RATE_HZ = 48_000
SOFT = (Bend(-24.0, 0.75, 6.0),)


def segment(**changes):
    made = {"frequency_hz": 997.0, "from_dbfs": -58.0, "to_dbfs": -2.0, "step_db": 2.0, "step_s": 0.2}
    return LevelSteps(name="steps", **(made | changes)).lay_out(start=90_000, rate_hz=RATE_HZ)


def measured(device, rng, **changes):
    steps = segment(**changes)
    return measure_level_steps(steps, record(steps, device, rate_hz=RATE_HZ, rng=rng)).steps


def errors_of(steps, device):
    played = np.array([step.tone.level_dbfs for step in steps])
    truth = played + device.path_db + device.makeup_db - device.reduction_db(played)
    return np.array([step.level_dbfs for step in steps]) - truth, np.array([step.std_db for step in steps])


@pytest.mark.parametrize("drift_ppm", [0.0, 87.0])
def test_settled_levels_equal_the_closed_form(rng, drift_ppm):
    device = Device("fast", SOFT, 6.0, attack_s=0.002, release_s=0.01, noise_dbfs=-100, drift_ppm=drift_ppm)
    steps = measured(device, rng)
    error, std = errors_of(steps, device)
    assert len(steps) == 57
    assert all(step.settled for step in steps)
    assert np.abs(error).max() < 0.01  # the accuracy asked of settled points
    score = error / np.hypot(std, 0.0002)  # the device's recorder errs by 0.0002 dB in each step
    assert np.std(score) == pytest.approx(1, abs=0.3)  # 3 sigma of a spread from 57 steps


def test_a_slow_release_marks_the_falling_pass_and_spares_the_rising_one(rng):
    device = Device("slow", SOFT, 0.0, attack_s=0.005, release_s=2.0, noise_dbfs=-110)
    steps = measured(device, rng)
    error, std = errors_of(steps, device)
    rising = np.array([step.direction == "rising" for step in steps])
    settled = np.array([step.settled for step in steps])
    loud = np.array([step.tone.level_dbfs > -20 for step in steps])
    assert settled[rising].all()
    assert not settled[~rising & loud].any()
    assert np.abs(error[settled]).max() < 0.01
    # extrapolations say how unsure they are; 4 sigma, as 57 steps are asked at once
    assert np.all(np.abs(error) < 4 * np.hypot(std, 0.0002))


def test_moderate_releases_are_extrapolated_to_a_few_hundredths(rng):
    device = Device("medium", SOFT, 0.0, attack_s=0.005, release_s=0.1, noise_dbfs=-110)
    steps = measured(device, rng)
    error, _ = errors_of(steps, device)
    remaining = np.array([step.remaining_db for step in steps])
    assert np.abs(remaining).max() > 0.1
    assert np.abs(error).max() < 0.1 * np.abs(remaining).max()


def test_steps_outside_the_capture_are_left_out(rng):
    steps = segment()
    whole = record(steps, Device("wire"), rate_hz=RATE_HZ, rng=rng)
    part = Cut(whole.samples[: whole.samples.size // 3], whole.start, whole.step, whole.rate_hz)
    assert len(measure_level_steps(steps, part).steps) == 19 - 1


def test_steps_below_the_noise_are_listed_not_measured(rng):
    steps = segment(from_dbfs=-98.0)
    found = measure_level_steps(
        steps, record(steps, Device("wire", noise_dbfs=-60), rate_hz=RATE_HZ, rng=rng)
    )
    assert found.hidden_dbfs
    # noise per amplitude part: -60 dBFS less 10 log10(4320) is -96 dBFS; three of it is -87 dBFS, and it may add
    assert max(found.hidden_dbfs) < -81
    assert min(step.tone.level_dbfs for step in found.steps) < -80


def test_steps_with_too_few_periods_are_refused(rng):
    steps = segment(frequency_hz=20.0, step_s=0.05)
    with pytest.raises(SegmentTooShortError, match="raise its duration"):
        measure_level_steps(steps, record(steps, Device("wire"), rate_hz=RATE_HZ, rng=rng))
