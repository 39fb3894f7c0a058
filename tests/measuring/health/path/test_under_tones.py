import numpy as np
from judged_captures import RATE, clean_once, placed

from charprobe.measuring.health.path.under_tones import BANDS_HZ, pause_db, rounding_db, under_tones
from charprobe.measuring.health.pauses.quiet import quiet_spectrum

NOISE_RMS = 1e-4


def test_white_noise_has_its_density_under_tones_and_in_pauses(rng):
    capture = clean_once("plain-wire")
    take = placed(capture + rng.normal(0, NOISE_RMS, capture.shape))
    density_db = 10 * np.log10(2 * NOISE_RMS**2 / (RATE / 2))  # a sine of full scale has a power of a half
    spectrum = quiet_spectrum(take)
    np.testing.assert_allclose(pause_db(spectrum), density_db, atol=0.2)  # a band of a few thousand bins
    found = np.array([under.density_db for under in under_tones(take)])
    assert found.shape[1] == len(BANDS_HZ)
    np.testing.assert_allclose(np.median(found, axis=0), density_db, atol=0.2)


def test_rounding_makes_the_power_of_an_even_distribution():
    step = 2.0**-15
    density_db = 10 * np.log10(2 * step**2 / 12 / (RATE / 2))
    assert abs(rounding_db(16, RATE) - density_db) < 1e-3
