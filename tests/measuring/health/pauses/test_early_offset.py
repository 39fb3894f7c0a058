"""An offset that sets in as the player starts is told by what a coupling leaves of it."""

import numpy as np
import pytest
from judged_captures import RATE, clean_once, placed

from charprobe.measuring.health.pauses.early_offset import check_early_offset


def coupled(offset, *, corner_hz=2.0, from_s=0.1):
    """A step behind a coupling: exp(-2 pi corner t)."""
    t_s = np.arange(clean_once("plain-wire").shape[0]) / RATE - from_s
    return np.where(t_s > 0, offset * np.exp(-2 * np.pi * corner_hz * np.maximum(t_s, 0)), 0.0)[:, None]


@pytest.mark.parametrize("offset", [0.001, -0.1])
def test_what_a_coupling_leaves_of_an_offset_is_told(offset):
    (told,) = check_early_offset(placed(clean_once("plain-wire") + coupled(offset)))
    assert (told.code, told.severity, told.withholds) == ("dc-offset", "warn", ())


def test_hum_rumble_and_a_clean_take_are_no_offset():
    clean = clean_once("plain-wire")
    t_s = np.arange(clean.shape[0])[:, None] / RATE
    for sound in (0.0, 0.01 * np.sin(2 * np.pi * 50 * t_s), 0.01 * np.sin(2 * np.pi * 7 * t_s)):
        assert check_early_offset(placed(clean + sound)) == []
