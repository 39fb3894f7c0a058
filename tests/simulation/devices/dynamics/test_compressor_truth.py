import numpy as np
import pytest

from charprobe.simulation.devices.dynamics.compressor_truth import (
    cascaded_time_s,
    timing_truth,
    two_stage_time_s,
)


@pytest.mark.parametrize(("name", "over_tau"), [("t50", 0.693), ("t63", 1.0), ("t90", 2.303)])
def test_one_pole_times_are_the_tabled_multiples(name, over_tau):
    truth = timing_truth(attack_s=0.01, release_s=0.2, hold_s=0.05, form="smooth branching")
    assert truth[f"attack.{name}"].value / 0.01 == pytest.approx(over_tau, abs=5e-4)  # table rounded to 0.001
    assert (truth[f"release.{name}"].value - 0.05) / 0.2 == pytest.approx(over_tau, abs=5e-4)


@pytest.mark.parametrize("second_s", [0.001, 0.05, 0.1])
def test_cascaded_time_solves_the_convolution_of_two_exponentials(second_s):
    first_s, step_s = 0.1, 1e-5
    t = np.arange(0, 2, step_s)
    tails = np.exp(-t / first_s), np.exp(-t / second_s) / second_s
    spectrum = np.fft.rfft(tails[0], 2 * t.size) * np.fft.rfft(tails[1], 2 * t.size)
    lagged = np.fft.irfft(spectrum)[: t.size] * step_s
    left = lagged + np.exp(-t / second_s)  # the second pole starts full
    found = t[np.argmax(left <= np.exp(-1))]
    # a rectangle sum of steps of 10 us is off by half a step over the shorter constant
    assert cascaded_time_s(1 - np.exp(-1), first_s=first_s, second_s=second_s) == pytest.approx(
        found, rel=step_s / second_s
    )


def test_two_stages_of_equal_speed_are_one():
    assert two_stage_time_s(0.9, fast_s=0.2, slow_s=0.2, slow_part=0.4) == pytest.approx(0.2 * np.log(10))


def test_decoupled_form_states_no_attack_and_no_hold():
    truth = timing_truth(attack_s=0.01, release_s=0.2, hold_s=0.0, form="smooth decoupled")
    assert not [name for name in truth if name.startswith("attack") or name == "release.hold"]
