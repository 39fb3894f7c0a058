import numpy as np
import pytest
from held import as_source
from scipy.signal import bilinear, freqz, lfilter

from charprobe.listening.aligning.pair_response import find_second_path, minimum_phase, pair_spectra

RATE_HZ, SIZE = 48_000, 1 << 14


def spectra_of(dry, processed):
    pair = (as_source(sound[:, None], RATE_HZ) for sound in (dry, processed))
    return pair_spectra(*pair, dry_channels=(0,), size=SIZE)


@pytest.fixture(scope="module")
def noise():
    return np.random.default_rng(5).normal(0, 0.1, 6 * RATE_HZ)


def shelf(corner_hz, gain_db):
    root, w = 10 ** (gain_db / 40), 2 * np.pi * corner_hz
    return bilinear([root, w], [1 / root, w], RATE_HZ)


def test_the_transfer_is_that_of_the_filter(noise):
    b, a = shelf(2000, 6)
    found = spectra_of(noise, lfilter(b, a, noise))
    hz = found.frequency_hz
    inside = (hz > 100) & (hz < 18_000)
    truth = freqz(b, a, hz[inside], fs=RATE_HZ)[1]
    # windows cut the tail of the filter off: 1 % of the response at most
    assert np.median(np.abs(found.transfer[inside, 0] - truth)) < 0.01


def test_the_response_of_least_phase_is_that_of_a_filter_that_has_it(noise):
    b, a = shelf(2000, 6)
    impulse = minimum_phase(spectra_of(noise, lfilter(b, a, noise)), taps=2048)[:, 0]
    hz = np.geomspace(200, 10_000, 40)
    found, truth = freqz(impulse, 1, hz, fs=RATE_HZ)[1], freqz(b, a, hz, fs=RATE_HZ)[1]
    ratio = found / truth
    ratio /= np.median(np.abs(ratio))  # the gain is fitted apart
    assert np.abs(20 * np.log10(np.abs(ratio))).max() < 0.3  # magnitude is smoothed over a twelfth octave
    assert np.abs(np.angle(ratio)).max() < 0.06


@pytest.mark.parametrize(("late_ms", "level_db"), [(3.0, -12.0), (-5.0, -6.0), (40.0, -20.0)])
def test_a_second_arrival_is_told_with_delay_and_level(noise, late_ms, level_db):
    late = round(late_ms * RATE_HZ / 1000)
    mixed = noise + 10 ** (level_db / 20) * np.roll(noise, late)
    found = find_second_path(spectra_of(noise, mixed))
    assert found is not None
    assert found.delay_s * 1000 == pytest.approx(late_ms, abs=0.03)
    assert found.level_db == pytest.approx(level_db, abs=1.0)  # the window weighs what lies farther off less
    assert ("later" if late > 0 else "earlier") in found.text


def test_a_filter_is_no_second_path(noise):
    assert find_second_path(spectra_of(noise, lfilter(*shelf(300, 9), noise))) is None
