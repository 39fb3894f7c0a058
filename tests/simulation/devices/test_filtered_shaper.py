import numpy as np
import pytest

from charprobe.simulation.devices.catalogue import make_stage

RATE = 48_000.0
CORE = make_stage("core-colour")


@pytest.mark.parametrize("frequency_hz", [60.0, 250.0, 997.0])
def test_lines_of_the_sandwich_are_those_of_a_long_tone(frequency_hz, rng):
    n = np.arange(96_000)
    x = 10 ** (-6 / 20) * np.cos(2 * np.pi * frequency_hz / RATE * n)
    y = CORE.process(x, rate_hz=RATE, rng=rng).samples
    last = n[24_000:72_000]  # whole periods, far from both ends, where symmetric filters ring
    expected = CORE.lines(-6.0, frequency_hz=frequency_hz)
    for order in range(1, 8):
        found = 2 * np.mean(y[last] * np.exp(-2j * np.pi * order * frequency_hz / RATE * last))
        assert abs(found - expected[order]) < 1e-7  # half-band filters of 140 dB


def test_colour_grows_towards_the_bass_and_turns_its_phase():
    low, high = (CORE.lines(-6.0, frequency_hz=hz) for hz in (60.0, 997.0))
    assert abs(low[3] / low[1]) > 10 * abs(high[3] / high[1])
    turn = np.angle(low[3]) - 3 * np.angle(low[1])
    assert abs(np.sin(turn)) > 0.1  # neither 0 nor 180 degrees: memory


def test_small_signals_pass_flat():
    gains = [CORE.static_gain_db(np.array([-80.0]), frequency_hz=hz)[0] for hz in (40.0, 997.0, 9000.0)]
    np.testing.assert_allclose(gains, 0, rtol=0, atol=1e-4)  # 12 dB hotter in the curve: u**2/4 of -68 dBFS
