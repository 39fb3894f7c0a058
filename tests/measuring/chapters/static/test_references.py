"""Quiet tones beside silences are read at their time and level."""

import numpy as np
import pytest
from taken import take_of, wire

from charprobe.measuring.chapters.static.references import left_by_silence_db, moved_by_silence, quiet_tones
from charprobe.stimulus.kinds.steady import Silence

SEGMENTS = (Silence("first", 0.3, tone_s=0.4), Silence("second", 0.3, tone_s=0.4))


def test_each_tone_has_its_time_and_what_came_back(rng):
    take = take_of(SEGMENTS, wire, rng=rng, gain_db=-1.3)
    (tone,) = {tone.frequency_hz for segment in take.stimulus.segments for tone in segment.tones}
    found = quiet_tones(take, frequency_hz=tone)
    assert len(found) == 2
    assert found[0].time_s < found[1].time_s
    for one in found:
        # three standard uncertainties of the fit
        assert one.level.value == pytest.approx(one.played_dbfs - 1.3, abs=3 * one.level.std + 1e-4)
    assert quiet_tones(take, frequency_hz=1.05 * tone) == ()


def test_a_tone_that_did_not_come_back_tells_nothing(rng):
    def muted(samples):
        return np.where(np.abs(samples) < 2e-3, 0.0, samples)  # a gate below −54 dBFS

    take = take_of(SEGMENTS, muted, rng=rng)
    (tone,) = {(tone.frequency_hz, tone.level_dbfs) for each in take.stimulus.segments for tone in each.tones}
    assert tone[1] < -54
    assert quiet_tones(take, frequency_hz=tone[0]) == ()


LONG = (Silence("first", 0.3, tone_s=0.6),)


def opening(time_s, rng):
    """A gain 6 dB down in silence that opens within a tone."""
    stimulus = take_of(LONG, wire, rng=rng).stimulus.segments[0]

    def opened(samples):
        sounds = np.abs(samples) > 0
        since_s = np.zeros(samples.size)
        for tone in stimulus.tones:
            since_s[tone.start : tone.stop] = np.arange(tone.length) / 48_000
        return samples * 10 ** (np.where(sounds, -6 * np.exp(-since_s / time_s), 0.0) / 20)

    return take_of(LONG, opened, rng=rng), stimulus


def test_a_tone_whose_gain_moves_to_its_end_has_no_level_but_a_rest_to_go(rng):
    take, stimulus = opening(0.5, rng)
    assert quiet_tones(take, frequency_hz=stimulus.tones[0].frequency_hz) == ()
    assert left_by_silence_db(take) > 6 * np.exp(-0.6 / 0.5)  # what is left at the end


def test_a_tone_under_which_a_gain_opens_is_read_where_it_rests(rng):
    take, stimulus = opening(0.06, rng)
    assert moved_by_silence(take)
    (one,) = quiet_tones(take, frequency_hz=stimulus.tones[0].frequency_hz)
    # 0.002 dB of 6 are left on average from 70 % of 0.6 s on
    assert one.level.value == pytest.approx(one.played_dbfs, abs=0.003 + 3 * one.level.std)
    assert left_by_silence_db(take) == 0
    assert not moved_by_silence(take_of(LONG, wire, rng=rng))
