"""A sweep says what the path does at each frequency: a wall, and phases that are turned without delay."""

import numpy as np
import pytest
from judged_captures import RATE, clean_once, placed
from scipy import signal
from taken import take_of, wire

from charprobe.measuring.health.path.lossy import check_lossy
from charprobe.measuring.health.path.other_path import check_uneven_path
from charprobe.measuring.health.path.swept_answer import swept_answer
from charprobe.measuring.health.pauses.quiet import quiet_spectrum
from charprobe.stimulus.kinds.sweep import Sweep

PLAYED = (Sweep("response", 20.0, 20_000.0, 1.0, -30.0, gap_s=0.1),)


def turned(degrees):
    """Every frequency turned by so much: the closed form of an ideal phase shifter."""
    return lambda samples: (np.exp(1j * np.radians(degrees)) * signal.hilbert(samples)).real


def test_a_wall_of_the_sweep_with_noise_behind_it_is_told():
    shape = clean_once("plain-wire").shape
    spectrum = np.fft.rfft(clean_once("plain-wire"), axis=0)
    spectrum[np.fft.rfftfreq(shape[0], 1 / RATE) > 9000] = 0
    noise = 10 ** (-110 / 20) / np.sqrt(2) * np.random.default_rng(3).standard_normal(shape)
    take = placed(np.fft.irfft(spectrum, shape[0], axis=0) + noise)
    (told,) = check_lossy(take, quiet_spectrum(take))
    assert told.code == "lossy-coded" and "Nothing of the sweep comes above 9.0 kHz" in told.message
    whole = placed(clean_once("plain-wire"))
    assert check_lossy(whole, quiet_spectrum(whole)) == []


def test_a_steep_filter_is_no_wall():
    sos = signal.butter(8, 9000, fs=RATE, output="sos")  # 48 dB an octave: 1 dB within 120 Hz
    take = placed(
        signal.sosfilt(sos, clean_once("plain-wire"), axis=0) + 1e-5 * clean_once("odd-colour")[::-1]
    )
    assert check_lossy(take, quiet_spectrum(take)) == []


@pytest.mark.parametrize("degrees", [-60.0, 30.0, 90.0])
def test_phases_turned_alike_are_told_with_their_angle(degrees, rng):
    (told,) = check_uneven_path(take_of(PLAYED, turned(degrees), rng=rng))
    said = float(told.message.split("turns phases by ")[1].split()[0])
    assert abs(said - abs(degrees)) < 2  # a coupling of 2 Hz turns 0.2 degrees, and words are of whole ones


def test_a_delay_and_a_gain_are_all_that_a_wire_answers(rng):
    take = take_of(PLAYED, wire, rng=rng)
    answer, bin_hz = swept_answer(take)
    inside = slice(round(200 / bin_hz), round(15_000 / bin_hz))
    assert (
        np.ptp(20 * np.log10(np.abs(answer[inside]))) < 0.05
    )  # a coupling of 2 Hz leaves 0.0004 dB at 200 Hz
    assert check_uneven_path(take) == []
