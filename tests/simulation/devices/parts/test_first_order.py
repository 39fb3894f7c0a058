import numpy as np
import pytest

from charprobe.simulation.devices.parts.first_order import low_cut, low_cut_gain_db, one_pole


def test_side_chain_cut_follows_its_formula():
    impulse = np.zeros(96_000)
    impulse[0] = 1
    response = np.fft.rfft(low_cut(impulse, corner_hz=150.0, rate_hz=48_000.0))
    for frequency_hz in (50, 150, 1000):
        found = 20 * np.log10(abs(response[2 * frequency_hz]))
        # bilinear warping: (pi f/fs)^2/3 of the frequency, below 0.0015
        assert found == pytest.approx(low_cut_gain_db(frequency_hz, corner_hz=150.0), abs=0.002)


def test_one_pole_answers_a_step_in_closed_form():
    step = one_pole(np.ones(4800), time_s=0.01, rate_hz=48_000.0)
    np.testing.assert_allclose(step, 1 - np.exp(-np.arange(1, 4801) / 480), rtol=0, atol=1e-12)
    assert one_pole(np.ones(3), time_s=0.0, rate_hz=48_000.0).tolist() == [1.0, 1.0, 1.0]
