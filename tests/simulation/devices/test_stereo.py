import numpy as np
import pytest

from charprobe.simulation.devices.stereo import LinkedPair
from tests.simulation.drawn import build_compressor

RATE = 48_000.0
UNIT = build_compressor(threshold_dbfs=-24, ratio=4, attack_s=0.005, release_s=0.1, makeup_db=3)
N = np.arange(48_000)
DRIVEN, PILOT = 10 ** (-4 / 20), 10 ** (-50 / 20)
PAIR = np.stack(
    [DRIVEN * np.cos(2 * np.pi * 997 / RATE * N), PILOT * np.cos(2 * np.pi * 1499 / RATE * N)], axis=1
)


@pytest.mark.parametrize("link", [0, 0.6, 1])
def test_quiet_side_follows_by_the_link(link):
    _, gain_db = LinkedPair("p", "p", UNIT, link).process_pair(PAIR, rate_hz=RATE)
    # 20 dB over, S = 3/4; the envelope reads within 0.0003 dB
    np.testing.assert_allclose(gain_db[-1], [3 - 15, 3 - 15 * link], rtol=0, atol=1e-3)


def test_crosstalk_leaks_sound_and_is_no_link():
    out, gain_db = LinkedPair("p", "p", UNIT, 0, crosstalk_db=-60.0).process_pair(PAIR, rate_hz=RATE)
    leak = 2 * abs(np.mean(out[24_000:, 1] * np.exp(-2j * np.pi * 997 / RATE * N[24_000:])))
    assert 20 * np.log10(leak) == pytest.approx(-4 - 60 + 3, abs=0.01)  # not whole periods of the pilot
    assert gain_db[-1, 1] == pytest.approx(3, abs=1e-9)


def test_impossible_link_is_refused():
    with pytest.raises(ValueError, match="link"):
        LinkedPair("p", "p", UNIT, 1.5)
