import re

import pytest

from charprobe.bench.repeats import moved_between
from charprobe.placing.align import Alignment
from charprobe.values.quantity import Quantity


def place(*, gain_db=-6.0, delay=900.0, polarity=1):
    zero = Quantity(0.0, 0.0, 0.0, "ppm")
    late = Quantity(delay, delay, delay, "samples")
    return Alignment(late, zero, polarity, False, True, True, gain_db, None, ())


@pytest.mark.parametrize(
    ("again", "code", "says"),
    [
        ({"gain_db": -5.8}, "level-drift", r"\+0.20 dB .input 3"),
        ({"polarity": -1}, "polarity-inverted", "has turned"),
        ({"delay": 1412.0}, "timing-jump", "512.0 samples later"),
        ({"delay": 388.0}, "timing-jump", "512.0 samples earlier"),
    ],
)
def test_what_moved_between_two_takes_of_the_same_is_named(again, code, says):
    (found,) = moved_between(place(), place(**again), input_number=3)
    assert (found.code, found.severity) == (code, "warn")
    assert re.search(says, found.message)


def test_what_gear_does_by_itself_is_not():
    assert not list(moved_between(place(), place(gain_db=-6.02, delay=900.2), input_number=1))
