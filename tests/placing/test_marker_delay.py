"""The delay of one marker and between two, against closed forms and the bound."""

import numpy as np
import pytest
from played import RATE_HZ, capture

from charprobe.placing.marker_delay import delay_between, delay_of, path_response
from charprobe.stimulus.marker import sync_length, sync_value

DISTANCE = 20_000
FRAMES = 40_000
AMPLITUDE = 10 ** (-36 / 20)


def two_markers(first, factor=1.0, response=lambda x: x):
    position = (np.arange(FRAMES) - first) / factor
    sound = sync_value("opening", position, rate_hz=RATE_HZ)
    sound = sound + sync_value("closing", position - DISTANCE, rate_hz=RATE_HZ)
    return response(AMPLITUDE * sound)


def responses(samples, first, factor=1.0):
    source = capture(samples)
    step = 1 / factor
    opening = path_response(source, 0, "opening", index=first, step=step, rate_hz=RATE_HZ)
    last = first + DISTANCE * factor
    return opening, path_response(source, 0, "closing", index=last, step=step, rate_hz=RATE_HZ)


@pytest.mark.parametrize("fraction", [0.0, 0.1, 0.25, 0.5, 0.77, 0.999])
def test_no_bias_at_any_fraction(fraction):
    opening, closing = responses(two_markers(3000 + fraction), 3000)
    slope = delay_of(opening)
    assert abs(opening.index + slope.delay - 3000 - fraction) < 1e-9  # no noise: rounding only
    apart = closing.index + delay_between(opening, closing)[0] - opening.index
    assert abs(apart - DISTANCE) < 1e-9
    assert abs(slope.gain / AMPLITUDE - 1) < 1e-3


def test_a_guess_some_samples_off_is_enough():
    opening, _ = responses(two_markers(3000.3), 2990)
    assert abs(opening.index + delay_of(opening).delay - 3000.3) < 1e-9


@pytest.mark.parametrize("snr_db", [70, 30, 10])
def test_scatter_is_near_the_bound_and_equals_the_stated_uncertainty(snr_db, rng):
    clean = two_markers(3000.4)
    noise = AMPLITUDE / np.sqrt(2) * 10 ** (-snr_db / 20)
    draws = []
    for _ in range(150):
        opening, closing = responses(clean + rng.normal(0, noise, FRAMES), 3000)
        slope = delay_of(opening)
        between, between_std = delay_between(opening, closing)
        apart = closing.index + between - opening.index - DISTANCE
        draws.append([opening.index + slope.delay - 3000.4, slope.std, apart, between_std])
    error, std, apart, apart_std = np.array(draws).T
    # spread of a linear chirp's frequencies about their mean: band / sqrt(12), here 300 Hz to 14.5 kHz
    spread_hz = 14_200 / np.sqrt(12)
    bound = RATE_HZ / (2 * np.pi * spread_hz * np.sqrt(sync_length(RATE_HZ) * 10 ** (snr_db / 10)))
    assert np.sqrt(np.mean(error**2)) < 1.3 * bound  # tapers and the ends of the band cost some of it
    for off, said in ((error, std), (apart, apart_std)):
        within = np.mean(np.abs(off) <= 1.96 * said)
        assert within > 0.90 - 3 * np.sqrt(0.9 * 0.1 / 150)  # 90 % less 3 sigma of 150 draws
        assert np.median(said) < 2 * np.sqrt(np.mean(off**2))  # and not by being far too wide


def test_a_cubic_device_moves_nothing():
    opening, _ = responses(two_markers(3000.4, response=lambda x: x - 0.3 * x**3), 3000)
    slope = delay_of(opening)
    assert abs(opening.index + slope.delay - 3000.4) < 1e-5  # third order of -36 dBFS: 1e-4 of the chirp
