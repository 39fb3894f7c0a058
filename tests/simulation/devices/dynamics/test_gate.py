import numpy as np
import pytest

from charprobe.simulation.devices.dynamics.gate import Gate
from charprobe.simulation.devices.parts.gain_computer import Bend
from tests.simulation.latched_gate import LatchedGate

RATE = 48_000.0
GATE = Gate("g", "g", Bend(-50, 4, 2, side="below", most_db=30), attack_s=0.002, release_s=0.1, hold_s=0.03)


def trace(rng):
    n = np.arange(int(1.5 * RATE))
    level = np.where((n >= 24_000) & (n < 48_000), 0.1, 0.0001)
    out = GATE.process(level * np.cos(2 * np.pi * 3989 / RATE * n), rate_hz=RATE, rng=rng)
    return out.gain_db


def test_gate_is_shut_by_its_range_and_opens_with_the_attack(rng):
    gain_db = trace(rng)
    assert gain_db[23_990] == pytest.approx(-30, abs=1e-9)
    assert gain_db[47_990] == pytest.approx(0, abs=1e-3)  # 250 attacks: what is left is rounding
    opened = (np.argmax(gain_db[24_000:] > -30 * np.exp(-1)) - 1) / RATE
    assert opened == pytest.approx(0.002, abs=2e-4)  # the detector needs some 0.1 ms


def test_gate_holds_and_then_shuts_with_the_release(rng):
    after = trace(rng)[48_000:]
    assert (after[: int(0.03 * RATE)] > -0.05).all()
    shut = np.argmax(after < -30 * (1 - np.exp(-1))) / RATE
    assert shut == pytest.approx(0.13, abs=1e-3)  # the detector needs some 0.9 ms to fall by 60 dB


def test_latched_gate_keeps_its_state_between_the_thresholds(rng):
    gate = LatchedGate(
        "l", "l", opens_dbfs=-40.0, shuts_dbfs=-46.0, range_db=12.0, attack_s=0.001, release_s=0.01
    )
    level = 10 ** (np.repeat([-43.0, -30.0, -43.0, -60.0, -43.0], 12_000) / 20)
    gain_db = gate.process(
        level * np.cos(2 * np.pi * 997 / RATE * np.arange(level.size)), rate_hz=RATE, rng=rng
    ).gain_db
    # 25 time constants after each edge
    np.testing.assert_allclose(gain_db[11_990::12_000], [-12, 0, 0, -12, -12], rtol=0, atol=1e-6)


def test_latched_gate_refuses_thresholds_the_wrong_way_round():
    with pytest.raises(ValueError, match="shuts_dbfs"):
        LatchedGate("l", "l", opens_dbfs=-50.0, shuts_dbfs=-46.0, range_db=12.0, attack_s=0.1, release_s=0.1)
