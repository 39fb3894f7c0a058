import numpy as np
import pytest

from charprobe.simulation.rig.rig import HUM_FAMILY_DB, Rig, quantise

RATE = 48_000.0
N = np.arange(48_000)
TONE = 0.5 * np.cos(2 * np.pi * 997 / RATE * N)


def record(rng, samples=TONE, **settings):
    return Rig(**settings).record(samples, rate_hz=RATE, rng=rng)


def test_default_rig_is_a_wire(rng):
    np.testing.assert_allclose(record(rng)[:, 0], TONE, rtol=0, atol=1e-14)


def test_capture_stands_where_start_and_step_say(rng):
    rig = Rig(delay_samples=123.4, drift_ppm=80, lead_s=0.25, tail_s=0.1)
    capture = rig.record(TONE, rate_hz=RATE, rng=rng)[:, 0]
    position = rig.start(rate_hz=RATE) + rig.step * np.arange(capture.size)
    inside = (position > 100) & (position < N.size - 100)
    expected = 0.5 * np.cos(2 * np.pi * 997 / RATE * position[inside])
    assert np.abs(capture[inside] - expected).max() < 1e-6  # -120 dB
    assert position[12_000 + 123] == pytest.approx(
        -0.4, abs=2e-4
    )  # 12123 samples at 80 ppm move 1e-4 per sample of delay
    assert position[-1] >= N[-1] + 0.1 * RATE - 1


def test_noise_level_is_that_of_a_sine_of_equal_power(rng):
    noise = record(rng, samples=np.zeros(480_000), noise_dbfs=-60.0)[:, 0]
    level = 20 * np.log10(np.sqrt(2) * noise.std())
    assert level == pytest.approx(-60, abs=0.03)  # 3 sigma: 8.686 * 3 / sqrt(2 * 480000)


def test_channels_share_the_signal_and_not_the_noise(rng):
    capture = record(rng, noise_dbfs=-60.0, channels=3)
    assert capture.shape == (48_000, 3)
    rest = capture - TONE[:, None]
    assert abs(np.corrcoef(rest.T)[0, 1]) < 0.02  # 4 sigma of 48 000 pairs


def test_gain_polarity_and_offset(rng):
    np.testing.assert_allclose(
        record(rng, gain_db=-6.0, inverted=True, dc_offset=0.01)[:, 0],
        0.01 - TONE * 10**-0.3,
        rtol=0,
        atol=1e-14,
    )


def test_coupling_is_3_db_down_at_its_corner(rng):
    slow = np.cos(2 * np.pi * 20 / RATE * np.arange(96_000))
    out = record(rng, samples=slow, ac_corner_hz=20.0)[48_000:, 0]
    basis = np.exp(-2j * np.pi * 20 / RATE * np.arange(48_000, 96_000))
    assert 2 * abs(np.mean(out[:48_000] * basis)) == pytest.approx(
        np.sqrt(0.5), abs=1e-4
    )  # settled to e^-125


def test_words_have_their_steps_and_clip(rng):
    loud = np.array([[0.1234567, -2.0, 2.0]])
    np.testing.assert_array_equal(
        quantise(loud, bits=16, dither=False, rng=rng), [[round(0.1234567 * 32768) / 32768, -1, 1 - 2**-15]]
    )


def test_dithered_error_is_noise_of_known_power(rng):
    error = quantise(TONE, bits=16, dither=True, rng=rng) - TONE
    expected = np.sqrt(3 / 12) * 2**-15  # rounding 1/12 plus two uniforms 2/12 of a step squared
    assert error.std() == pytest.approx(expected, rel=0.02)  # 4 sigma and more
    assert abs(np.corrcoef(error, TONE)[0, 1]) < 0.02


def test_hum_has_its_family(rng):
    out = record(rng, samples=np.zeros(48_000), hum_hz=60.0, hum_dbfs=-50.0)[:, 0]
    lines = 2 * np.abs(np.fft.rfft(out))[60 : 8 * 60 + 1 : 60] / out.size
    np.testing.assert_allclose(20 * np.log10(lines), -50 + np.array(HUM_FAMILY_DB), atol=1e-6)


def test_impossible_rigs_are_refused():
    with pytest.raises(ValueError, match="delay_samples"):
        Rig(delay_samples=-1)
    with pytest.raises(ValueError, match="bits"):
        Rig(bits=12)


def test_several_signals_keep_their_channels(rng):
    pair = np.stack([TONE, -0.5 * TONE], axis=1)
    capture = Rig(gain_db=-6.0, noise_dbfs=-120.0).record_channels(pair, rate_hz=RATE, rng=rng)
    np.testing.assert_allclose(capture, pair * 10**-0.3, rtol=0, atol=1e-5)  # 10 sigma of the noise
