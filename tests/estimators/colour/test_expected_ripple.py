"""Ripple from the times of attack and release; truth is closed forms and detectors run sample by sample."""

import numpy as np
import pytest

from charprobe.estimators.colour.expected_ripple import (
    SHARES,
    ChangeTimes,
    Motion,
    Rippling,
    Smooth,
    Steady,
    likely_detectors,
)
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.gain_computer import Bend, slope_of

RATE_HZ = 48_000
LOUD_DBFS, QUIET_DBFS, CARRIER_HZ = -12.0, -32.0, 3989.0
RNG = np.random.default_rng(1)


def compressor(**built):
    return Compressor("one", "hard 4:1", (Bend(-24, slope_of(4)),), **built)


def gain_of(stage, samples):
    return stage.process(samples, rate_hz=RATE_HZ, rng=RNG).gain_db


def motion_of(stage):
    """Times of the stage's own gain, averaged over some carrier periods."""
    time_s = np.arange(int(1.6 * RATE_HZ)) / RATE_HZ
    loud = (time_s >= 0.5) & (time_s < 1.0)
    level_dbfs = np.where(loud, LOUD_DBFS, QUIET_DBFS)
    gain = gain_of(stage, 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * CARRIER_HZ * time_s))
    reduction = -np.convolve(gain, np.full(48, 1 / 48), "same")
    top = float(reduction[int(0.9 * RATE_HZ) : int(0.95 * RATE_HZ)].mean())
    up, down = reduction[int(0.5 * RATE_HZ) : int(0.95 * RATE_HZ)], reduction[int(1.0 * RATE_HZ) :]
    attack = [float(np.argmax(up >= share * top)) / RATE_HZ for share in SHARES]
    release = [float(np.argmax(down <= (1 - share) * top)) / RATE_HZ for share in SHARES]
    return Motion(ChangeTimes(*attack), ChangeTimes(*release), 0.0, LOUD_DBFS - QUIET_DBFS, top, 0.75)


def third_of(stage, frequency_hz):
    """Third harmonic over the fundamental that the stage itself makes of a steady tone."""
    time_s = np.arange(4 * RATE_HZ) / RATE_HZ
    tone = 10 ** (LOUD_DBFS / 20) * np.sin(2 * np.pi * frequency_hz * time_s)
    out = stage.process(tone, rate_hz=RATE_HZ, rng=RNG).samples[-RATE_HZ:]
    lines = np.abs(np.fft.rfft(out))
    return lines[3 * int(frequency_hz)] / lines[int(frequency_hz)]


def power_times(tau_s, *, slope, step_db, threshold_below_db):
    """t50, t63, t90 of a mean-square detector behind a step from and to below its threshold."""
    high, low, threshold = 1.0, 10 ** (-step_db / 10), 10 ** (-threshold_below_db / 10)
    whole = slope * threshold_below_db
    up, down = [], []
    for share in SHARES:
        rising = threshold * 10 ** (share * whole / slope / 10)
        falling = threshold * 10 ** ((1 - share) * whole / slope / 10)
        up.append(tau_s * np.log((high - low) / (high - rising)))
        down.append(tau_s * np.log((high - low) / (falling - low)))
    return ChangeTimes(*up), ChangeTimes(*down), whole


@pytest.mark.parametrize(("frequency_hz", "tau_s"), [(100, 0.05), (1000, 0.01), (50, 0.02)])
def test_a_mean_square_detector_has_the_closed_form(frequency_hz, tau_s):
    slope = 0.75
    attack, release, reduction_db = power_times(tau_s, slope=slope, step_db=20, threshold_below_db=12)
    best, *_ = likely_detectors(Motion(attack, release, 0.0, 20.0, reduction_db, slope))
    assert isinstance(best, Rippling)
    assert (best.smoothed, best.falling) == ("power", "target")
    assert best.attack_s == pytest.approx(tau_s, rel=1e-3)
    assert best.release_s == pytest.approx(tau_s, rel=1e-3)
    third = best.third_harmonics([Steady(frequency_hz, reduction_db, slope)])[0]
    assert third == pytest.approx(
        slope / (4 * np.sqrt(1 + (4 * np.pi * frequency_hz * tau_s) ** 2)), rel=0.005
    )


@pytest.mark.parametrize(
    "built",
    [
        {"detector": "peak", "attack_s": 0.005, "release_s": 0.05},
        {"detector": "rms", "attack_s": 0.005, "release_s": 0.05},
        {
            "detector": "peak",
            "attack_s": 0.002,
            "release_s": 0.1,
            "form": "branching",
            "placement": "before log",
        },
        {"detector": "average", "attack_s": 0.02, "release_s": 0.1, "placement": "before log"},
    ],
    ids=["reduction", "square", "peak", "average"],
)
def test_ripple_of_rectifiers_follows_from_their_times(built):
    stage = compressor(**built)
    motion = motion_of(stage)
    detectors = likely_detectors(motion)
    frequencies_hz = (50.0, 110.0, 997.0)
    tones = [Steady(hz, motion.reduction_db, 0.75) for hz in frequencies_hz]
    ratios = np.array([one.third_harmonics(tones) for one in detectors])
    truth = np.array([third_of(stage, hz) for hz in frequencies_hz])
    assert np.all(np.min(ratios, axis=0) < 1.04 * truth)
    assert np.all(np.max(ratios, axis=0) > 0.96 * truth)
    assert np.min(np.abs(ratios / truth - 1).max(axis=1)) < 0.04


def test_the_textbook_compressor():
    # 5 ms, 50 ms, 4:1, 9 dB: 1.8 % at 50 Hz, 0.9 % at 100 Hz, 0.09 % at 1 kHz
    motion = motion_of(compressor(detector="average", attack_s=0.005, release_s=0.05))
    tones = [Steady(hz, 9.0, 0.75) for hz in (50.0, 100.0, 1000.0)]
    best, *_ = likely_detectors(motion)
    assert best.third_harmonics(tones) == pytest.approx([0.018, 0.009, 0.0009], rel=0.05)


def test_an_exponential_gain_has_no_ripple():
    times = -np.log(1 - np.array(SHARES))
    motion = Motion(ChangeTimes(*(0.005 * times)), ChangeTimes(*(0.1 * times)), 0.0, 20.0, 9.0, 0.75)
    best, *others = likely_detectors(motion)
    assert isinstance(best, Smooth)
    assert not others
    assert best.third_harmonics([Steady(50.0, 9.0, 0.75)])[0] == 0.0


def test_nothing_falls_within_the_hold():
    held = Rippling("reduction", "target", 0.005, 0.05, 0.02, 0.0)
    stage = compressor(detector="peak", attack_s=0.005, release_s=0.05, hold_s=0.02)
    high, low = held.third_harmonics([Steady(110.0, 9.0, 0.75), Steady(10.0, 8.9, 0.75)])
    assert high == 0.0
    assert low == pytest.approx(third_of(stage, 10.0), rel=0.05)


def test_times_of_no_plain_detector_are_not_explained():
    motion = Motion(ChangeTimes(0.001, 0.005, 0.006), ChangeTimes(0.01, 0.1, 0.11), 0.0, 20.0, 9.0, 0.75)
    assert likely_detectors(motion) == ()
