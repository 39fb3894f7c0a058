from collections.abc import Callable

import numpy as np
import pytest
from judged_captures import clean, clean_once, judged, placed

from charprobe.measuring.health.file.copies import check_copy, sound_hash
from charprobe.measuring.health.judge import judge_pair


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


@pytest.mark.parametrize("bend", [0.3, 0.003])
def test_a_stage_run_over_the_bypass_costs_the_noise_alone(bend, rng):
    bypass = clean("plain-wire", rng)
    made = np.pad(1.4 * (bypass - bend * bypass**3), ((640, 0), (0, 0)))  # of latency, and with its own gain
    (told,) = check_copy(placed(made), placed(bypass))
    assert (told.severity, told.withholds) == ("warn", ("noise",))


def test_tones_that_both_captures_share_make_no_copy(rng):
    apart = 1e-4 * (-1.0) ** np.arange(clean("plain-wire", rng).size)[:, None]  # a converter's two halves
    assert check_copy(*(placed(clean(name, rng) + apart) for name in ("odd-colour", "plain-wire"))) == []


def test_a_step_that_both_takes_begin_with_makes_no_copy(rng):
    one, other = clean("odd-colour", rng), clean("plain-wire", rng)
    for capture in (one, other):
        capture[2000:] += 0.02  # ahead of the marker
    assert check_copy(placed(one), placed(other)) == []


def test_a_take_that_is_its_own_bypass_is_told_so_and_nothing_else():
    taken = judged(clean_once("feedforward-rms-hard"))
    added = [item.code for item in judge_pair(taken, taken) if item not in taken[1]]
    assert added == ["equals-other-capture"]
