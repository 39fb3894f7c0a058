import numpy as np
import pytest

from charprobe.estimators.detector_law import Equivalent, fit_exponent, measure_waveforms
from charprobe.stimulus.kinds.equal_peak import EqualPeak
from charprobe.stimulus.kinds.waveforms import MULTITONE, SQUARE_LIKE, TWO_TONE, WAVEFORMS
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out
from charprobe.values.cut import Cut
from charprobe.values.quantity import Quantity, Unmeasured

OTHERS = (SQUARE_LIKE, TWO_TONE, MULTITONE)


def heard_by(exponent, rng, sigma_db=0.03):
    return [
        Equivalent(w, w.norm_db(exponent) + rng.normal(0, sigma_db), sigma_db) for w in OTHERS for _ in "ab"
    ]


@pytest.mark.parametrize("exponent", [0.8, 1.0, 2.0, 4.0])
def test_the_exponent_of_a_norm_is_found(exponent, rng):
    found = fit_exponent(heard_by(exponent, rng))
    assert isinstance(found, Quantity)
    assert found.low <= exponent * (1 + 1e-3)  # step of the grid
    assert found.high >= exponent * (1 - 1e-3)
    assert found.high / found.low < 1.2


def test_intervals_hold_the_truth_as_often_as_they_say(rng):
    # the stated floor of 0.05 dB is part of the scatter drawn here
    held = [
        found.low <= 2.0 <= found.high
        for found in (fit_exponent(heard_by(2.0, rng, sigma_db=0.05)) for _ in range(60))
    ]
    assert np.mean(held) > 0.86  # 95 % less 3 sigma of 60 draws


def test_a_peak_detector_has_a_bound(rng):
    found = fit_exponent([Equivalent(w, 0.0, 0.03) for w in OTHERS])
    assert isinstance(found, Unmeasured)
    assert found.at_least > 20


def test_reductions_that_follow_no_mean_are_not_given_one(rng):
    found = fit_exponent([Equivalent(SQUARE_LIKE, -3.0, 0.03), Equivalent(TWO_TONE, 2.0, 0.03)])
    assert isinstance(found, Unmeasured)
    assert "no mean" in found.reason


def test_partials_of_every_waveform_are_measured_exactly():
    segment = lay_out(
        Recipe("x", "x", (EqualPeak("law", 800.0, (-30.0, -6.0), 0.2),)), rate_hz=48_000, take=1
    )
    segment = segment.segments[0]
    sound = segment.render(rate_hz=48_000)
    played = measure_waveforms(segment, Cut(0.5 * sound, float(segment.span.start), 1.0, 48e3))
    assert [p.waveform for p in played] == [*WAVEFORMS, *WAVEFORMS]
    for one in played:
        gain_db, _ = one.gain_db(one.as_played)
        assert gain_db == pytest.approx(20 * np.log10(0.5), abs=1e-6)  # the late half has no ramp in it
