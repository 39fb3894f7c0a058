"""Gain over time against a compressor's own gain trace."""

import numpy as np
import pytest
from held import on_24_bit

from charprobe.listening.programme_gain import gained, trace_gain
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.gain_computer import Bend
from charprobe.stimulus.kinds.material import generate

RATE_HZ = 48_000
FLAT = np.ones((1, 1))


def compressor(*, attack_s, release_s):
    return Compressor(
        name="made",
        summary="made",
        bends=(Bend(threshold_dbfs=-24, slope=0.75, knee_db=6),),
        attack_s=attack_s,
        release_s=release_s,
        makeup_db=6,
    )


def compressed(kind, rng, *, attack_s, release_s, drive=0.0):
    dry = generate(kind, seconds=8, rate_hz=RATE_HZ, rng=np.random.default_rng(3))
    out = compressor(attack_s=attack_s, release_s=release_s).process(dry, rate_hz=RATE_HZ, rng=rng)
    wet = np.tanh(drive * out.samples) / drive if drive else out.samples
    noise = 10 ** (-90 / 20) * rng.standard_normal(dry.size)
    trace = trace_gain(
        on_24_bit(dry, rate_hz=RATE_HZ),
        on_24_bit(wet + noise, rate_hz=RATE_HZ),
        dry_channels=(0,),
        response=FLAT,
    )
    return trace, out.gain_db[np.round(trace.time_s * RATE_HZ).astype(int)]


@pytest.mark.parametrize("kind", ["music", "speech"])
@pytest.mark.parametrize(("attack_s", "release_s"), [(0.005, 0.1), (0.02, 0.3)])
def test_trace_follows_the_stages_own_gain(kind, attack_s, release_s, rng):
    trace, truth = compressed(kind, rng, attack_s=attack_s, release_s=release_s)
    error = (trace.gain_db - truth)[trace.known]
    assert np.sqrt(np.mean(error**2)) < 0.1  # the stated goal
    inside = (trace.low_db <= truth) & (truth <= trace.high_db)
    assert np.mean(inside[trace.known]) > 0.9  # a 95 % interval; judged from the bend, so on the wide side


@pytest.mark.parametrize("kind", ["music", "speech"])
@pytest.mark.parametrize("drive", [0.2, 0.6, 1.5])
def test_intervals_allow_for_what_saturation_takes_of_the_gain(kind, drive, rng):
    trace, truth = compressed(kind, rng, attack_s=0.005, release_s=0.1, drive=drive)
    inside = (trace.low_db <= truth) & (truth <= trace.high_db)
    assert np.mean(inside[trace.known]) > 0.9  # a 95 % interval; the truth is without the saturation's loss


def test_an_attack_faster_than_the_window_is_smoothed_and_the_interval_says_so(rng):
    trace, truth = compressed("speech", rng, attack_s=0.001, release_s=0.05)
    error = (trace.gain_db - truth)[trace.known]
    assert 0.1 < np.sqrt(np.mean(error**2)) < 0.3  # beyond the goal: voice pulses outrun a window of 4 ms
    inside = (trace.low_db <= truth) & (truth <= trace.high_db)
    assert np.mean(inside[trace.known]) > 0.9


def test_quiet_passages_are_not_called_known(rng):
    sound = rng.standard_normal(RATE_HZ) * np.where(np.arange(RATE_HZ) < RATE_HZ // 2, 0.3, 1e-5)
    trace = trace_gain(
        on_24_bit(sound, rate_hz=RATE_HZ),
        on_24_bit(0.5 * sound, rate_hz=RATE_HZ),
        dry_channels=(0,),
        response=FLAT,
    )
    assert trace.known[trace.time_s < 0.49].all()
    assert not trace.known[trace.time_s > 0.51].any()
    assert (
        np.abs(trace.gain_db + 20 * np.log10(2)).max() < 1e-3
    )  # held over; 24 bits allow 1e-5 dB where known


def test_an_inverted_file_has_the_same_gain(rng):
    sound = 0.2 * rng.standard_normal(RATE_HZ)
    pair = (on_24_bit(sound, rate_hz=RATE_HZ), on_24_bit(-0.7 * sound, rate_hz=RATE_HZ))
    trace = trace_gain(*pair, dry_channels=(0,), response=FLAT)
    np.testing.assert_allclose(trace.gain_db, 20 * np.log10(0.7), rtol=0, atol=1e-3)
    applied = gained(pair[0], trace).read_frames(1000, 2000)
    np.testing.assert_allclose(applied, 0.7 * sound[1000:2000, None], rtol=0, atol=1e-4)
