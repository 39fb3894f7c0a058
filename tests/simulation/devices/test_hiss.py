import numpy as np
import pytest

from charprobe.simulation.devices.hiss import Hiss


@pytest.mark.parametrize("rate_hz", [44_100.0, 96_000.0])
def test_noise_from_20_hz_to_20_khz_has_the_stated_level(rate_hz, rng):
    noise = Hiss("h", "h", -70.0, makeup_db=5.0).process(np.zeros(int(4 * rate_hz)), rate_hz=rate_hz, rng=rng)
    power = np.abs(np.fft.rfft(noise.samples)) ** 2 * 2 / noise.samples.size**2
    frequency_hz = np.fft.rfftfreq(noise.samples.size, 1 / rate_hz)
    in_band = power[(frequency_hz >= 20) & (frequency_hz <= 20_000)].sum()
    # 80 000 independent bins: one sigma is 4.34/sqrt(80000) = 0.015 dB
    assert 10 * np.log10(2 * in_band) == pytest.approx(-70, abs=0.06)
    assert (noise.gain_db == 5.0).all()


def test_a_weighting_of_white_noise_equals_the_integral_of_the_standard_curve():
    f = np.arange(20.0, 20_000.0, 0.5)
    f1, f2, f3, f4 = 20.599, 107.65, 737.86, 12194.2
    gain = f4**2 * f**4 / ((f**2 + f1**2) * np.sqrt((f**2 + f2**2) * (f**2 + f3**2)) * (f**2 + f4**2))
    truth = Hiss("h", "h", -70.0).truth["noise.a_weighted"]
    assert truth.value + 70 == pytest.approx(10 * np.log10(np.mean(gain**2)) + 2.0, abs=truth.within)
