import numpy as np
import pytest
from held import FLAT, GAIN, LATE, RATE_HZ, on_24_bit, shifted

from charprobe.listening.aligning.pairing import pair_files
from charprobe.listening.programme_gain import trace_gain
from charprobe.stimulus.kinds.material import generate


@pytest.fixture(scope="session")
def eight_seconds():
    return generate("music", seconds=8.0, rate_hz=RATE_HZ, rng=np.random.default_rng(3))


@pytest.fixture(scope="session")
def moved(eight_seconds):
    """A pair that differs in gain and delay alone, and its gain trace."""
    pair = pair_files(
        on_24_bit(eight_seconds, rate_hz=RATE_HZ),
        on_24_bit(GAIN * shifted(eight_seconds, LATE), rate_hz=RATE_HZ),
    )
    return pair, trace_gain(pair.dry, pair.processed, dry_channels=pair.dry_channels, response=FLAT)


@pytest.fixture(scope="session")
def bent(eight_seconds):
    """A pair whose gain swings between -7 and -1 dB every two seconds, and its gain trace."""
    slow = np.sin(2 * np.pi * 0.5 * np.arange(eight_seconds.size) / RATE_HZ)
    pair = pair_files(
        on_24_bit(eight_seconds, rate_hz=RATE_HZ),
        on_24_bit(eight_seconds * 10 ** ((-4 + 3 * slow) / 20), rate_hz=RATE_HZ),
    )
    return pair, trace_gain(pair.dry, pair.processed, dry_channels=pair.dry_channels, response=FLAT)
