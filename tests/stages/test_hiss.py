import numpy as np
import pytest

from charprobe.stages.hiss import Hiss


@pytest.mark.parametrize("rate_hz", [44_100.0, 96_000.0])
def test_noise_from_20_hz_to_20_khz_has_the_stated_level(rate_hz, rng):
    noise = Hiss("h", "h", -70.0, makeup_db=5.0).process(np.zeros(int(4 * rate_hz)), rate_hz=rate_hz, rng=rng)
    power = np.abs(np.fft.rfft(noise.samples)) ** 2 * 2 / noise.samples.size**2
    frequency_hz = np.fft.rfftfreq(noise.samples.size, 1 / rate_hz)
    in_band = power[(frequency_hz >= 20) & (frequency_hz <= 20_000)].sum()
    # 80 000 independent bins: one sigma is 4.34/sqrt(80000) = 0.015 dB
    assert 10 * np.log10(2 * in_band) == pytest.approx(-70, abs=0.06)
    assert (noise.gain_db == 5.0).all()
