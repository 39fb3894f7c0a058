import numpy as np
import pytest

from charprobe.stimulus.kinds import tone_run
from charprobe.stimulus.kinds.segment import Tone
from charprobe.stimulus.kinds.tone_run import faded, phase_at, tone_pieces, tones_apart

RATE_HZ = 48_000


def sound_of(*tones):
    out = np.zeros(5000)
    for start, samples in tone_pieces(tones, rate_hz=RATE_HZ):
        out[start : start + samples.size] = samples
    return out


def test_a_long_tone_comes_in_pieces_that_are_the_whole(monkeypatch):
    tones = [Tone(0, 2400, 997.0, -40.0, 0.3, 240, 0), Tone(2400, 2400, 440.0, -20.0, 0.0, 240, 1)]
    whole = sound_of(*tones)
    monkeypatch.setattr(tone_run, "PIECE", 100)
    np.testing.assert_array_equal(sound_of(*tones), whole)


def test_the_phase_runs_on_before_and_after_a_tone():
    tone = Tone(1000, 480, 997.0, -6.0, 1.0, 0, 0)
    assert phase_at(tone, 1000, rate_hz=RATE_HZ) == pytest.approx(1.0)
    for position in (0, 1240, 90_000):
        turns = 997.0 * (position - 1000) / RATE_HZ
        expected = np.exp(1j * (1.0 + 2 * np.pi * turns))
        assert np.exp(1j * phase_at(tone, position, rate_hz=RATE_HZ)) == pytest.approx(expected, abs=1e-9)


def test_tones_apart_are_two_milliseconds_apart_and_groups_of_their_own():
    tones = tones_apart([(100.0, -6.0), (997.0, -12.0)], start=500, tone_s=0.1, rate_hz=RATE_HZ)
    assert [(t.start, t.length, t.group) for t in tones] == [(500, 4800, 0), (500 + 4800 + 96, 4800, 1)]
    assert [(t.frequency_hz, t.level_dbfs, t.phase_rad) for t in tones] == [(100, -6, 0), (997, -12, 0)]


def test_a_tone_alone_is_faded_at_both_ends():
    n, fade = faded(Tone(0, 4800, 997.0, 0.0, 0.0, 240, 0))
    np.testing.assert_array_equal(n, np.arange(4800))
    np.testing.assert_allclose(fade, fade[::-1], atol=1e-12)
    assert fade[0] < 1e-4 and np.all(fade[240:-240] == 1)
    assert np.all(np.diff(fade[:240]) > 0)


def test_a_level_moves_softly_after_a_tone_that_ramps_and_at_once_after_one_that_does_not():
    low = Tone(0, 2400, 0.0, -40.0, 0.0, 0, 0)  # of 0 Hz the samples are the envelope
    soft, hard = Tone(2400, 2400, 0.0, -20.0, 0.0, 240, 1), Tone(2400, 2400, 0.0, -20.0, 0.0, 0, 1)
    moved, jumped = sound_of(low, soft), sound_of(low, hard)
    np.testing.assert_allclose(moved[:2400], 0.01)  # followed without a gap: no fade
    assert 0.01 < moved[2400] < 0.0101 and np.all(np.diff(moved[2400:2640]) > 0)
    np.testing.assert_allclose(jumped[2400:4560], 0.1)
    np.testing.assert_allclose(moved[2640:4560], 0.1)
    assert moved[4799] < 1e-5 and not moved[4800:].any()  # faded out, then silence
