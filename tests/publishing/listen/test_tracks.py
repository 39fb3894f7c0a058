import io
import json
from base64 import b64decode

import numpy as np
import pytest
import soundfile

from charprobe.files.sound.loudness import measure_loudness
from charprobe.files.sound.source import MemoryCapture
from charprobe.publishing.listen.tracks import Listening, Sound, equally_loud

RATE_HZ = 48_000
RNG = np.random.default_rng(3)
NOISE = RNG.normal(0, 0.05, 3 * RATE_HZ)


@pytest.fixture(scope="module")
def listening():
    burst = 0.9 * np.sin(2 * np.pi * 440 * np.arange(RATE_HZ // 100) / RATE_HZ)
    peaky = NOISE.copy()
    peaky[1000 : 1000 + burst.size] = burst
    sounds = [Sound("dry", None, NOISE), Sound("loud", 0, 4 * NOISE), Sound("</script>", 1, peaky)]
    return Listening(equally_loud(sounds, rate_hz=RATE_HZ), RATE_HZ, "Heard", "noise")


def test_all_are_equally_loud_and_only_turned_down(listening):
    heard = []
    for track in listening.tracks:
        samples, rate = soundfile.read(io.BytesIO(track.code))
        assert (rate, samples.size) == (RATE_HZ, 3 * RATE_HZ)
        assert np.abs(samples).max() <= 10 ** (-1 / 20)
        heard.append(measure_loudness(MemoryCapture(samples, rate_hz=rate, name="x")).integrated_lufs)
        assert track.gain_db <= 1e-9
    assert np.ptp(heard) < 0.02  # dither of 16 bits


def test_what_the_page_plays_is_what_the_files_hold(listening, tmp_path):
    paths = listening.write(tmp_path, force=False)
    text = (tmp_path / listening.played).read_text(encoding="utf-8")
    assert "</script>" not in text
    rows = json.loads(text.partition(" = ")[2].rstrip(";\n"))
    assert [row["name"] for row in rows] == ["dry", "loud", "</script>"]
    for row, path in zip(rows, paths, strict=False):
        assert b64decode(row["code"]) == path.read_bytes()
