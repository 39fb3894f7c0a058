import numpy as np
import pytest

from charprobe.values.phasor import BLOCK, phasor


@pytest.mark.parametrize("count", [0, 1, BLOCK - 1, BLOCK, BLOCK + 1, 100_003])
@pytest.mark.parametrize("turns", [0.3791, -0.0007, 0.0])
def test_blocks_give_what_the_exponential_of_each_value_gives(count, turns):
    truth = np.exp(2j * np.pi * ((0.125 + turns * np.arange(count)) % 1.0))
    # rounding of the phase in turns: 1e5 turns of 2e-16 relative, times 2 pi
    np.testing.assert_allclose(phasor(0.125, turns, count), truth, rtol=0, atol=2e-10)
