import numpy as np
import pytest
from scipy.signal import bilinear, freqz, oaconvolve

from charprobe.replica.filters import response, taps
from charprobe.replica.parts import Section

SECTIONS = (
    Section("low cut", 30.0, 2),
    Section("high shelf", 5000.0, 1, 3.0),
    Section("bell", 800.0, 2, -2.0, 1.0),
)
U = np.array([0.01, 1.0, 100.0])


@pytest.mark.parametrize(
    ("section", "decibels"),
    [
        (Section("low cut", 100.0), (-40.0, -3.01, 0.0)),
        (Section("high cut", 100.0, 2), (0.0, -3.01, -80.0)),
        (Section("low shelf", 100.0, 1, 6.0), (6.0, 3.0, 0.0)),
        (Section("high shelf", 100.0, 2, -6.0), (0.0, -3.0, -6.0)),
        (Section("bell", 100.0, 2, 4.0), (0.0, 4.0, 0.0)),
    ],
)
def test_sections_have_their_gain_at_the_corner_and_far_from_it(section, decibels):
    found = 20 * np.log10(np.abs(response((section,), 100.0 * U)))
    np.testing.assert_allclose(found, decibels, atol=0.01)  # a hundredth of the corner is nearly its end


@pytest.mark.parametrize("rate_hz", [44_100.0, 96_000.0])
def test_impulse_responses_meet_the_analogue_response_and_undo_it(rate_hz):
    frequency = np.geomspace(30, 18_000, 40)
    there, back = (taps(SECTIONS, rate_hz=rate_hz, backwards=b) for b in (False, True))

    def gain(kernel, before):
        turn = np.exp(-2j * np.pi * np.outer(frequency, np.arange(kernel.size) - before) / rate_hz)
        return turn @ kernel

    exact = response(SECTIONS, frequency)
    np.testing.assert_allclose(gain(*there), exact, atol=1e-3)  # 6 periods of the low cut are kept
    np.testing.assert_allclose(gain(*back) * exact, 1, atol=1e-3)


def test_a_digital_section_is_what_the_bilinear_transform_makes_of_it():
    corner = 2 * np.tan(np.pi * 8000.0 / 48_000.0)  # warped ahead, as it is told by its corner
    b, a = bilinear([corner**2], [1.0, np.sqrt(2) * corner, corner**2])
    hz = np.array([100.0, 8000.0, 16_000.0, 23_000.0])
    truth = freqz(b, a, worN=hz, fs=48_000.0)[1]
    found = response((Section("high cut", 8000.0, 2, digital_hz=48_000.0),), hz)
    np.testing.assert_allclose(found, truth, atol=1e-9)


def test_shelves_that_integrate_undo_each_other_forwards_and_backwards(rng):
    pair = [Section("low shelf", 95.0, gain_db=gain_db) for gain_db in (54.0, -54.0)]
    sound = np.pad(rng.normal(size=48_000), 1 << 17)
    for backwards in (False, True):
        made = sound
        for one in pair:
            kernel, before = taps((one,), rate_hz=48_000.0, backwards=backwards)
            made = oaconvolve(made, kernel)[before : before + sound.size]
        off = 20 * np.log10(np.linalg.norm(made - sound) / np.linalg.norm(sound))
        assert off < -60  # undone, what lies 80 dB down comes back by half, its edge reaches up to here
