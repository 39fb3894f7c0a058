import io

import numpy as np
import pytest
import soundfile

from charprobe.files.sound.flac import flac_bytes


def test_sound_comes_back_within_the_dither_and_twice_the_same():
    samples = np.random.default_rng(1).uniform(-0.9, 0.9, 5000)
    codes = [flac_bytes(samples, rate_hz=44_100, rng=np.random.default_rng(2)) for _ in range(2)]
    assert codes[0] == codes[1]
    back, rate = soundfile.read(io.BytesIO(codes[0]))
    assert rate == 44_100
    assert np.abs(back - samples).max() <= 1.5 / (1 << 15)  # half a step of rounding, one of dither


def test_what_does_not_fit_is_refused():
    with pytest.raises(ValueError, match="turn the sound down"):
        flac_bytes(np.ones(10), rate_hz=48_000, rng=np.random.default_rng(1))
