import numpy as np
import pytest

from charprobe.files.sound.loudness import measure_loudness
from charprobe.files.sound.source import MemoryCapture
from charprobe.stimulus.kinds.material import PEAK, generate


@pytest.mark.parametrize("kind", ["music", "speech"])
@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_sound_has_the_dynamics_of_programme(kind, rate_hz):
    sound = generate(kind, seconds=30, rate_hz=rate_hz, rng=np.random.default_rng(5))
    loudness = measure_loudness(MemoryCapture(sound, rate_hz=rate_hz, name=kind))
    assert sound.shape == (30 * rate_hz,)
    assert np.abs(sound).max() == pytest.approx(PEAK)
    # what unmastered takes usually show: peaks 12 to 24 dB above the mean, several LU of range
    assert 12 < 20 * np.log10(PEAK / sound.std()) < 24
    assert 3 < loudness.range_lu < 15


@pytest.mark.parametrize("kind", ["music", "speech"])
def test_the_generator_decides_everything(kind):
    one, same, other = (
        generate(kind, seconds=3, rate_hz=48_000, rng=np.random.default_rng(n)) for n in (1, 1, 2)
    )
    np.testing.assert_array_equal(one, same)
    assert abs(np.corrcoef(one, other)[0, 1]) < 0.5


def test_speech_pauses_and_music_plays_on():
    def quiet_share(kind):
        sound = generate(kind, seconds=30, rate_hz=48_000, rng=np.random.default_rng(2))
        level = 10 * np.log10(np.mean(sound.reshape(-1, 4800) ** 2, axis=1))
        return np.mean(level < level.max() - 35)

    assert quiet_share("speech") > 0.08
    assert quiet_share("music") < 0.04


def test_impossible_requests_are_refused():
    with pytest.raises(ValueError, match="22050"):
        generate("music", seconds=1, rate_hz=8000, rng=np.random.default_rng(1))
