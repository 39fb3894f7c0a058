import numpy as np
import pytest

from charprobe.simulation.devices.dynamics.diode_bridge import DiodeBridge

RATE = 48_000.0
STAGE = DiodeBridge("d", "d")


def settled(rng, level_dbfs, stage=STAGE):
    n = np.arange(2 * 48_000)
    x = 10 ** (level_dbfs / 20) * np.cos(2 * np.pi * 997 / RATE * n)
    out = stage.process(x, rate_hz=RATE, rng=rng)
    return x[48_000:], out.samples[48_000:], out.gain_db[48_000:]


def test_bridge_equation_holds_at_every_sample(rng):
    x, y, gain_db = settled(rng, -6.0)
    pad, makeup = 10 ** (-STAGE.pad_db / 20), 10 ** (STAGE.makeup_db / 20)
    rho = makeup / 10 ** (gain_db / 20) - 1
    v = y / makeup * pad
    np.testing.assert_allclose(v + rho * np.tanh(v), pad * x, rtol=0, atol=1e-12)  # Newton's own limit


def test_third_harmonic_grows_with_reduction_as_the_series_says(rng):
    _, y, gain_db = settled(rng, -6.0)
    lines = np.abs(np.fft.rfft(y))
    rho = 10 ** ((STAGE.makeup_db - np.mean(gain_db)) / 20) - 1
    v = 10 ** (-6 / 20) * 10 ** (-STAGE.pad_db / 20) / (1 + rho)
    expected = rho * v**2 / (12 * (1 + rho))  # tanh v = v - v**3/3, first order
    ripple = np.ptp(gain_db) / 8.686 / 4  # a gain ripple of this half depth adds half of itself to the third
    assert lines[3 * 997] / lines[997] == pytest.approx(expected, abs=ripple + 0.05 * expected)
    assert lines[2 * 997] / lines[997] < 1e-9  # nothing in it is one-sided


def test_fast_release_keeps_the_capacitor_from_filling():
    slow = DiodeBridge("s", "s", release_s=1.0).static_gain_db(np.array([-6.0]))[0]
    fast = DiodeBridge("f", "f", release_s=0.02).static_gain_db(np.array([-6.0]))[0]
    assert fast > slow + 1
