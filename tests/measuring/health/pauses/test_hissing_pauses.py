"""Pauses that hiss where tones do not: no stage does so whose gain is the same under all quiet tones."""

import numpy as np
import pytest
from judged_captures import clean_once, placed
from scipy.ndimage import maximum_filter1d

from charprobe.measuring.health.path.under_tones import under_tones
from charprobe.measuring.health.pauses.hissing_pauses import check_hissing_pauses
from charprobe.measuring.health.pauses.quiet import quiet_spectrum


def told_of(samples):
    take = placed(samples)
    return check_hissing_pauses(take, under_tones(take), quiet_spectrum(take))


def opened(samples, rng):
    """Hiss wherever nothing was heard for 30 ms on either side."""
    quiet = maximum_filter1d(np.abs(samples[:, 0]), 2881) < 1e-3 * np.abs(samples).max()
    return samples + (quiet * rng.normal(0, 1e-4, quiet.size))[:, None]


def test_a_receiver_that_opens_in_pauses_is_told_and_gives_no_noise(rng):
    (told,) = told_of(opened(clean_once("plain-wire"), rng))
    assert told.code == "foreign-noise" and told.withholds == ("noise",)


@pytest.mark.parametrize("stage", ["plain-wire", "feedforward-rms-hard", "noise-gate", "upward-lift"])
def test_a_stage_and_noise_that_is_everywhere_leave_nothing_of_the_kind(stage, rng):
    capture = clean_once(stage)
    assert told_of(capture) == told_of(capture + rng.normal(0, 1e-4, capture.shape)) == []
