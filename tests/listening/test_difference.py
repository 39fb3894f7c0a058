import numpy as np
from held import FLAT, GAIN, LATE, RATE_HZ, on_24_bit, shifted

from charprobe.listening.aligning.pairing import pair_files
from charprobe.listening.difference import take_difference
from charprobe.listening.programme_gain import trace_gain


def test_gain_and_delay_alone_null_below_80_db(moved):
    pair, trace = moved
    assert abs(pair.delay.value - LATE) < 0.02  # the stated goal for delay
    null = take_difference(pair, trace=trace)
    depth = {rung.step: rung.depth_db for rung in null.rungs}
    assert depth["clock drift"] < -80
    assert depth["gain"] > -40  # a quarter sample and 37 more are not removed by a gain
    assert abs(null.gain_db - 20 * np.log10(GAIN)) < 1e-3  # an 80 dB null bounds the gain error at 0.0009 dB
    assert [rung.limit for rung in null.rungs[1:2]] == ["time"]


def test_sound_that_cannot_be_read_between_samples_is_left_out_of_the_null_and_said(rng):
    """Noise up to half the rate, half a sample late by a phase ramp: nothing but gain and delay differ."""
    noise = 0.1 * rng.standard_normal(4 * RATE_HZ)
    pair = pair_files(
        on_24_bit(noise, rate_hz=RATE_HZ), on_24_bit(GAIN * shifted(noise, 100.5), rate_hz=RATE_HZ)
    )
    null = take_difference(pair, trace=trace_gain(pair.dry, pair.processed, dry_channels=(0,), response=FLAT))
    depth = {rung.step: rung.depth_db for rung in null.rungs}
    assert (
        depth["delay"] < -95
    )  # 24 bits leave -117 dB of noise at -20 dBFS, the reading between samples -110
    assert null.rungs[-1].limit == "noise"
    assert 22_400 < null.top_hz < 22_600
    assert "Sound above 22.6 kHz, which cannot be read between samples, is left out." in null.sentence


def test_of_one_and_the_same_sound_nothing_is_said_to_limit_anything(rng):
    noise = on_24_bit(0.1 * rng.standard_normal(4 * RATE_HZ), rate_hz=RATE_HZ)
    pair = pair_files(noise, noise)
    null = take_difference(pair, trace=trace_gain(pair.dry, pair.processed, dry_channels=(0,), response=FLAT))
    assert null.sentence.startswith("Taken as they are, the files are the same sound: nothing is left")
    assert "limit" not in null.sentence


def test_a_moving_gain_is_named_level(bent):
    null = take_difference(bent[0], trace=bent[1])
    assert {rung.limit for rung in null.rungs} == {"level"}
    assert null.sentence.endswith("limited by level (a gain that differs or moves).")
