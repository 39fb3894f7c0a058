import numpy as np
import pytest

from charprobe.simulation.devices.parts.detectors import (
    FLOOR_DBFS,
    quadrature_envelope,
    sense,
    to_dbfs,
)
from charprobe.simulation.devices.parts.first_order import one_pole

RATE = 48_000.0
N = np.arange(96_000)


def tone(frequency_hz, amplitude=1.0):
    return amplitude * np.cos(2 * np.pi * frequency_hz / RATE * N)


@pytest.mark.parametrize("detector", ["average", "rms"])
def test_mean_of_a_sine_reads_its_own_level(detector):
    mean = sense(tone(997.0, 0.25), detector, rate_hz=RATE)[:48_000].mean()  # 997 whole periods
    # sampled |cos| has a mean off by about (pi f/fs)^2/6 per folded harmonic, all far below 1e-4 here
    assert to_dbfs(np.array([mean]), detector)[0] == pytest.approx(20 * np.log10(0.25), abs=1e-3)


@pytest.mark.parametrize("rate_hz", [44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0])
@pytest.mark.parametrize("frequency_hz", [90.0, 997.0, 3989.0, 15_000.0, 20_000.0])
def test_envelope_of_a_sine_is_steady(frequency_hz, rate_hz):
    sine = 0.5 * np.cos(2 * np.pi * frequency_hz / rate_hz * np.arange(int(1.5 * rate_hz)))
    read_db = 20 * np.log10(quadrature_envelope(sine, rate_hz=rate_hz)[int(rate_hz) :])
    # splitter built for 90 dB: |error| of the quadrature 6e-5 rad, half of it in the envelope, 0.0003 dB
    np.testing.assert_allclose(read_db, 20 * np.log10(0.5), rtol=0, atol=3e-4)


@pytest.mark.parametrize(
    ("step_db", "rising", "falling"), [(3, 0.895, 1.113), (10, 0.683, 1.411), (20, 0.454, 1.910)]
)
def test_amplitude_smoother_times_depend_on_the_step_as_tabled(step_db, rising, falling):
    _check_table(step_db, rising, falling, decibels=20)


@pytest.mark.parametrize(
    ("step_db", "rising", "falling"), [(3, 0.799, 1.235), (10, 0.454, 1.910), (20, 0.193, 3.104)]
)
def test_power_smoother_times_depend_on_the_step_as_tabled(step_db, rising, falling):
    _check_table(step_db, rising, falling, decibels=10)


def _check_table(step_db, rising, falling, *, decibels):
    tau = 0.05
    high = 10 ** (step_db / decibels)
    steps = np.concatenate([np.full(48_000, 1.0), np.full(48_000, high), np.full(96_000, 1.0)])
    level = decibels * np.log10(one_pole(steps, time_s=tau, rate_hz=RATE))
    t = np.arange(48_000) / RATE
    up = np.interp(step_db * (1 - np.exp(-1)), level[47_999:95_999], t)
    down = np.interp(-step_db * np.exp(-1), -level[95_999:143_999], t)
    assert up / tau == pytest.approx(rising, abs=6e-4)  # the table is rounded to 0.001
    assert down / tau == pytest.approx(falling, abs=6e-4)


def test_silence_reads_the_floor():
    assert to_dbfs(np.zeros(3), "rms").tolist() == [FLOOR_DBFS] * 3
