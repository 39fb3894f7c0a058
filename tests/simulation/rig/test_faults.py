import numpy as np
import pytest

from charprobe.simulation.rig import faults

RATE = 48_000.0


N = np.arange(48_000)


TONE = np.stack(
    [0.5 * np.cos(2 * np.pi * 997 / RATE * N), 0.25 * np.cos(2 * np.pi * 1500 / RATE * N)], axis=1
)


def test_lengths_follow_what_is_lost_repeated_and_put_in():
    assert faults.lose(TONE, at=100, count=30).shape == (47_970, 2)
    assert faults.repeat(TONE, at=100, count=30).shape == (48_030, 2)
    assert faults.insert_silence(TONE, at=100, count=30).shape == (48_030, 2)
    np.testing.assert_array_equal(faults.lose(TONE, at=100, count=30)[100:], TONE[130:])
    np.testing.assert_array_equal(faults.repeat(TONE, at=100, count=30)[130:], TONE[100:])


def test_swapping_stretches_twice_restores():
    once = faults.swap_stretches(TONE, first=10, second=2000, count=500)
    np.testing.assert_array_equal(once[10:510], TONE[2000:2500])
    np.testing.assert_array_equal(faults.swap_stretches(once, first=10, second=2000, count=500), TONE)


def test_misplaced_bits_are_48_16_db_down():
    ratio = np.linalg.norm(faults.misplace_bits(TONE)) / np.linalg.norm(TONE)
    assert 20 * np.log10(ratio) == pytest.approx(-48.165, abs=0.001)


def test_level_drift_is_even_in_db():
    ratio = faults.drift_gain(TONE, total_db=0.6)[[0, 47_952], 0] / TONE[[0, 47_952], 0]
    assert 20 * np.log10(ratio[1]) == pytest.approx(0.6 * 47_952 / 47_999, abs=1e-9)
    assert ratio[0] == 1


def test_rate_conversion_keeps_the_tone():
    out = faults.rate_convert(TONE)[:, 0]
    expected = 0.5 * np.cos(2 * np.pi * 997 / 44_100 * np.arange(out.size))
    assert np.abs(out - expected)[100:-100].max() < 1e-6  # -120 dB


def test_wow_moves_the_phase_by_its_integral():
    out = faults.wow(TONE, depth_ppm=100.0, frequency_hz=2.0, rate_hz=RATE)[:, 0]
    omega = 2 * np.pi * 2.0 / RATE
    position = N + 100e-6 / omega * (1 - np.cos(omega * N))
    expected = 0.5 * np.cos(2 * np.pi * 997 / RATE * position)
    # chords of 512 samples leave 512^2/8 * 100e-6 * omega = 0.0009 samples: 0.5 * 0.13 rad per sample of it
    assert np.abs(out - expected)[100:-100].max() < 1e-4


def test_conversion_and_back_keeps_what_lies_below_and_nothing_above():
    sound = TONE[:, :1] + 0.1 * np.cos(2 * np.pi * 22_500 / RATE * N)[:, None]
    out = faults.convert_and_back(sound)
    np.testing.assert_allclose(out[2000:-2000], TONE[2000:-2000, :1], atol=3e-5)


def test_stripping_silence_shortens_pauses_alone():
    pause = np.zeros((5000, 2))
    out = faults.strip_silence(np.concatenate([TONE, pause, TONE]), below_dbfs=-80.0, kept=1000)
    np.testing.assert_array_equal(out, np.concatenate([TONE, pause[:1000], TONE]))
