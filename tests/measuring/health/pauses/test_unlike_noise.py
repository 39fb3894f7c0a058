import numpy as np
import pytest
from judged_captures import RATE, STAGES, clean, clean_once, placed, told
from scipy import signal

from charprobe.measuring.health.pauses.unlike_noise import check_unlike_noise
from charprobe.simulation.rig.rig import quantise


def data(rng, count, *, bits_per_s=4800.0):
    """A line that carries data at random, its edges rounded; RMS 1."""
    bits = rng.integers(0, 2, int(count / RATE * bits_per_s) + 1)
    line = (2.0 * bits - 1)[(np.arange(count) / RATE * bits_per_s).astype(int)]
    return signal.sosfilt(signal.butter(1, 8000, fs=RATE, output="sos"), line)[:, None]


@pytest.mark.parametrize("level_dbfs", [-100.0, -70.0])
def test_data_that_leak_in_are_told_though_their_spectrum_is_as_smooth_as_that_of_noise(level_dbfs, rng):
    capture = clean_once("feedforward-rms-hard")
    leaking = capture + 10 ** (level_dbfs / 20) * data(rng, capture.shape[0])
    assert "neither noise nor a tone" in told(leaking)["foreign-noise"]


@pytest.mark.parametrize("level_dbfs", [-100.0, -70.0])
def test_noise_that_comes_with_each_half_wave_of_the_mains_is_told_and_no_click(level_dbfs, rng):
    capture = clean_once("feedforward-rms-hard")
    opens = np.abs(np.sin(2 * np.pi * 50 * np.arange(capture.shape[0]) / RATE)) < 0.15
    hash_ = 10 ** (level_dbfs / 20) * opens[:, None] * rng.standard_normal(capture.shape)
    found = told(capture + hash_)
    assert "comes in bursts" in found["foreign-noise"]
    assert not {"click", "dropout"} & set(found)


def test_noise_is_not_told_whatever_its_colour_swell_and_rounding(rng):
    capture = clean_once("plain-wire")
    count = capture.shape[0]
    white = rng.normal(0, 1e-4, (count, 1))
    dull = signal.lfilter([0.05], [1, -0.95], white, axis=0)
    swell = 1 + 0.7 * np.sin(np.arange(count) / 20_000)[:, None]
    hum = sum(np.sin(2 * np.pi * 50 * n * np.arange(count) / RATE) / n for n in range(1, 30))[:, None]
    for beside in (white, dull, swell * white, white + 1e-4 * hum):
        assert check_unlike_noise(placed(capture + beside)) == []
    for bits in (16, 24):
        rounded = quantise(capture, bits=bits, dither=bits == 16, rng=rng)
        assert check_unlike_noise(placed(rounded)) == []


@pytest.mark.parametrize("stage", STAGES)
def test_clean_captures_are_not_told(stage, rng):
    assert check_unlike_noise(placed(clean(stage, rng, noise_dbfs=-95.0))) == []
