from types import SimpleNamespace

import numpy as np
import pytest

from charprobe.replica.lost import Lost
from charprobe.replica.parts import Cell, Chain

RATE_HZ = 1000
MAKEUP_DB = 6.0


def mended(printed, limited=()):
    """Hand printed sound and a result of ones to `Lost`; samples of `limited` have no way back."""
    lost = Lost(SimpleNamespace(chain=Chain(cell=Cell(makeup_db=MAKEUP_DB))), rate_hz=RATE_HZ, noise=1e-4)
    flags = np.zeros((len(printed), 1), dtype=bool)
    flags[list(limited)] = True
    lost.printed(printed[:, None])
    lost.heard(SimpleNamespace(lost=flags))
    result, back = lost.mended(np.ones((len(printed), 1)))
    return result[:, 0], back[:, 0], lost.stretches()


def sound():
    return 0.1 * np.sin(2 * np.pi * 37 * np.arange(1000) / RATE_HZ) + 0.001


@pytest.mark.parametrize("reason", ["clipped", "limited to a flat line", "below the noise"])
def test_what_does_not_come_back_is_listed_and_left_as_printed_less_make_up(reason):
    printed, limited = sound(), ()
    if reason == "clipped":
        printed[500:520] = 0.5
    elif reason == "below the noise":
        printed[500:520] = 1e-6
    else:
        limited = range(500, 520)
    result, back, (found,) = mended(printed, limited)
    assert (found.reason, found.start_s, found.end_s) == (reason, 0.5, 0.52)
    np.testing.assert_allclose(back, printed * 10 ** (-MAKEUP_DB / 20))
    np.testing.assert_allclose(result[506:514], back[506:514])
    np.testing.assert_array_equal(result[:490], 1.0)
    np.testing.assert_array_equal(result[530:], 1.0)


def test_neighbours_are_joined_and_what_is_far_apart_is_not():
    _, _, found = mended(sound(), [*range(100, 110), *range(130, 140), *range(600, 610)])
    assert [(one.start_s, one.end_s) for one in found] == [(0.1, 0.14), (0.6, 0.61)]
