import numpy as np
import pytest
from cubic_device import TONES, cubic
from taken import NoReduction, take_of, wire

from charprobe.measuring.chapters.colour.chapter import colour_chapter


@pytest.fixture(scope="session")
def bypass():
    return take_of(TONES, wire, rng=np.random.default_rng(1), delay_samples=100.3)


@pytest.fixture(scope="session")
def coloured(bypass):
    return colour_chapter(take_of(TONES, cubic, rng=np.random.default_rng(2)), bypass, NoReduction())
