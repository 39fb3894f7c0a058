"""Faults by their names: each does something, in the size asked for."""

import numpy as np
import pytest

from charprobe.simulation.rig.fault_catalogue import apply_fault, fault_called, fault_names
from charprobe.values.errors import CharprobeError

RATE = 48_000.0


N = np.arange(48_000)


TONE = np.stack(
    [0.5 * np.cos(2 * np.pi * 997 / RATE * N), 0.25 * np.cos(2 * np.pi * 1500 / RATE * N)], axis=1
)


@pytest.mark.parametrize("name", fault_names())
def test_named_fault_changes_the_capture_and_keeps_the_original(name):
    before = TONE.copy()
    quiet = np.concatenate([1.6 * TONE, 1e-5 * TONE, 1e-5 * TONE])
    after = apply_fault(name, quiet, rate_hz=RATE)
    assert after.shape[1] == 2
    assert after.shape != quiet.shape or not np.array_equal(after, quiet)
    np.testing.assert_array_equal(TONE, before)


@pytest.mark.parametrize("name", [name for name in fault_names() if fault_called(name).unit])
def test_a_fault_comes_in_the_size_asked_for(name):
    fault = fault_called(name)
    assert fault.lowest <= fault.typical <= fault.highest
    quiet = np.concatenate([0.9 * TONE, 1e-5 * TONE])
    typical = apply_fault(name, quiet, rate_hz=RATE)
    np.testing.assert_array_equal(apply_fault(name, quiet, rate_hz=RATE, size=fault.typical), typical)
    with pytest.raises(CharprobeError, match="cannot have the size"):
        apply_fault(name, quiet, rate_hz=RATE, size=2 * abs(fault.highest) + 1)


def test_a_fault_without_a_size_says_so():
    with pytest.raises(CharprobeError, match="has no size"):
        apply_fault("silent", TONE, rate_hz=RATE, size=1.0)


def test_unknown_fault_names_those_there_are():
    with pytest.raises(CharprobeError, match="dropout"):
        apply_fault("gremlins", TONE, rate_hz=RATE)
