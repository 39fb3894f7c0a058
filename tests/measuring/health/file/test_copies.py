from collections.abc import Callable

import numpy as np
import pytest
from judged_captures import clean, placed

from charprobe.measuring.health.file.copies import check_copy, sound_hash


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("as it was", lambda x: x),
        ("with silence around", lambda x: np.pad(x, ((4321, 777), (0, 0)))),
        ("without its first tenth", lambda x: x[4800:]),
    ],
)
def test_copies_are_known_by_their_sound(name, change: Callable, rng):
    capture = clean("feedforward-rms-hard", rng)
    own, other = placed(capture), placed(change(capture))
    assert sound_hash(own) == sound_hash(other) != ""
    assert [item.code for item in check_copy(own, other)] == ["equals-other-capture"]
    assert not check_copy(own, placed(clean("feedforward-rms-hard", rng)))


def test_a_copy_turned_down_is_known_by_its_noise(rng):
    capture = clean("odd-colour", rng)
    dither = 2.0**-23 * rng.uniform(-1, 1, capture.shape)
    own, copy = placed(capture), placed(np.pad(0.5 * capture + dither, ((311, 0), (0, 0))))
    assert [item.code for item in check_copy(own, copy)] == ["equals-other-capture"]
    assert check_copy(own, placed(clean("plain-wire", rng))) == []
