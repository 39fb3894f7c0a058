import numpy as np
import pytest

from charprobe.simulation.devices.parts.oversampling import BLOCK, PASS, shape_oversampled


@pytest.mark.parametrize("frequency", [0.001, 0.02, 0.25, 20 / 48, PASS])
def test_straight_curve_returns_the_tone(frequency):
    x = np.cos(2 * np.pi * frequency * np.arange(20_000) + 0.3)
    error = shape_oversampled(x, lambda samples: samples)[500:-500] - x[500:-500]
    assert 20 * np.log10(np.abs(error).max()) < -130  # 140 dB designs, two each way


def test_blocks_join_without_a_seam(rng):
    x = rng.normal(0, 0.1, BLOCK + 5000)
    whole = shape_oversampled(x, np.tanh)
    late = shape_oversampled(x[BLOCK - 3000 :], np.tanh)
    np.testing.assert_allclose(whole[BLOCK - 2000 : BLOCK + 4000], late[1000:7000], rtol=0, atol=1e-12)


def test_nothing_comes_of_nothing():
    assert shape_oversampled(np.zeros(0), np.tanh).size == 0
