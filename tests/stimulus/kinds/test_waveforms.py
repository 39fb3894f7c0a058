import numpy as np
import pytest

from charprobe.stimulus.kinds.waveforms import SINE, SQUARE_LIKE, TWO_TONE, WAVEFORMS

TURNS = np.arange(4096) / 4096


def test_every_waveform_has_peak_one_and_its_stated_partials():
    for waveform in WAVEFORMS:
        wave = waveform.at(np.arange(8192) / 8192)
        assert np.abs(wave).max() == pytest.approx(1, abs=1e-12)
        spectrum = np.fft.rfft(wave) / 4096
        np.testing.assert_allclose(
            np.abs(spectrum[list(waveform.multiples)]), np.abs(waveform.amplitudes), atol=1e-12
        )
        assert np.angle(spectrum[8]) == pytest.approx(0, abs=1e-9)  # a clock may be read from the fundamental


def test_norms_equal_their_closed_forms():
    assert SINE.norm_db(3.0) == pytest.approx(0, abs=1e-9)
    # two equal tones at the peak of one: each has half the amplitude, so half the power in all
    assert TWO_TONE.norm_db(2.0) == pytest.approx(-10 * np.log10(2), abs=1e-6)
    # its mean magnitude is that of a product of cosines, (2 / pi)**2, against 2 / pi of a sine
    assert TWO_TONE.norm_db(1.0) == pytest.approx(
        20 * np.log10(2 / np.pi), abs=0.01
    )  # 8192 points, not a mean
    assert SQUARE_LIKE.norm_db(2.0) > 1.5  # closer to a square wave's 3 dB than to a sine


def test_large_exponents_approach_the_peak():
    assert all(abs(waveform.norm_db(400.0)) < 0.15 for waveform in WAVEFORMS)
