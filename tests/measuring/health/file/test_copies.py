from collections.abc import Callable

import numpy as np
import pytest
from judged_captures import clean, judged

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
    own, other = judged(capture)[0], judged(change(capture))[0]
    assert sound_hash(own) == sound_hash(other) != ""
    assert [item.code for item in check_copy(own, other)] == ["equals-other-capture"]
    assert not check_copy(own, judged(clean("feedforward-rms-hard", rng))[0])
