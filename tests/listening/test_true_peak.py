import numpy as np
import pytest
from scipy.signal import firwin, upfirdn

from charprobe.files.sound.source import MemoryCapture
from charprobe.listening.match import measure_levels

LOW_DB, HIGH_DB = -0.4, 0.2  # EBU Tech 3341


def dbtp(samples, rate_hz=48_000):
    return 20 * np.log10(
        measure_levels(MemoryCapture(samples[:, None], rate_hz=rate_hz, name="made")).true_peak
    )


@pytest.mark.parametrize(
    ("divisor", "phase_deg", "amplitude", "expected"),
    [(4, 0, 0.5, -6.0), (4, 45, 0.5, -6.0), (6, 60, 0.5, -6.0), (8, 67.5, 0.5, -6.0), (4, 45, 1.41, 3.0)],
    ids=["case15", "case16", "case17", "case18", "case19"],
)
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_cases_15_to_19_peaks_between_samples(divisor, phase_deg, amplitude, expected, rate_hz):
    fade = np.minimum(
        1.0, np.minimum(np.arange(48_000), np.arange(48_000)[::-1]) / 4800
    )  # a cut end rings by itself
    tone = amplitude * fade * np.sin(2 * np.pi * np.arange(48_000) / divisor + np.radians(phase_deg))
    assert LOW_DB <= dbtp(tone, rate_hz) - expected <= HIGH_DB


@pytest.mark.parametrize("offset", range(4))
def test_cases_20_to_23_a_known_peak_survives_every_sampling_instant(offset):
    """The supplied signals are not at hand: a band-limited pulse with its peak of 1 known at four times the rate."""
    fine = np.zeros(4 * 2000)
    fine[4000] = 1.0
    low_passed = upfirdn(firwin(801, 0.22, window=("kaiser", 8.0)), fine)
    low_passed /= np.abs(low_passed).max()
    assert LOW_DB <= dbtp(low_passed[offset::4]) <= HIGH_DB


def test_streaming_does_not_change_the_peak(rng):
    spectrum = np.fft.rfft(rng.uniform(-1, 1, 200_000))  # three blocks
    spectrum[80_000:] = 0  # above 0.4 of the rate, where the interpolator falls off
    noise = np.fft.irfft(spectrum)
    whole = measure_levels(MemoryCapture(noise[:, None], rate_hz=48_000, name="made")).true_peak
    fine = np.abs(np.fft.irfft(np.pad(spectrum, (0, 700_000)) * 8, 1_600_000))
    # flat within 0.01 dB; both sample 8 times as fast, a peak of the highest frequency lies 0.04 dB higher at most
    assert abs(20 * np.log10(whole / fine.max())) < 0.05
