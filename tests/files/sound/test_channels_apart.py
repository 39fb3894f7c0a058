"""Channels laid apart are the same samples to the last bit, and reading one touches no other."""

import numpy as np
import pytest
import soundfile

from charprobe.files.sound import channels_apart as module
from charprobe.files.sound.channels_apart import channels_apart
from charprobe.files.sound.sound_file import open_capture
from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.health.judge import judge_capture
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render


@pytest.fixture
def sound(rng):
    return rng.uniform(-1, 1, (150_000, 3))


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
def test_every_sample_is_as_in_the_file(sound, subtype, tmp_path):
    soundfile.write(tmp_path / "a.wav", sound, 48_000, subtype=subtype)
    source = open_capture(tmp_path / "a.wav")
    apart = channels_apart(source)
    assert apart is not source
    assert (apart.name, apart.facts, apart.sha256()) == (source.name, source.facts, source.sha256())
    for start, stop in ((0, 150_000), (-5, 7), (65_530, 65_550), (149_990, 150_010), (9, 3)):
        np.testing.assert_array_equal(apart.read_frames(start, stop), source.read_frames(start, stop))
        for channel in range(3):
            found = apart.read(start, stop, channel)
            assert found.dtype == np.float64
            np.testing.assert_array_equal(found, source.read(start, stop, channel))
    with pytest.raises(ValueError, match="channel 3"):
        apart.read(0, 1, 3)


def test_the_file_is_read_once(sound, monkeypatch):
    source = MemoryCapture(sound, rate_hz=48_000, name="a.wav")
    read = []
    plain = MemoryCapture.read_frames
    monkeypatch.setattr(
        MemoryCapture, "read_frames", lambda self, a, b: read.append(min(b, 150_000) - a) or plain(self, a, b)
    )
    apart = channels_apart(source)
    for channel in (0, 1, 2, 0):
        apart.read(0, 150_000, channel)
    assert sum(read) == 150_000


@pytest.mark.parametrize("free", [0, 10**15])
def test_without_room_or_need_the_source_itself_serves(sound, monkeypatch, free):
    class Usage:
        pass

    usage = Usage()
    usage.free = free
    monkeypatch.setattr(module.shutil, "disk_usage", lambda folder: usage)
    source = MemoryCapture(sound if free == 0 else sound[:, :1], rate_hz=48_000, name="a.wav")
    apart = channels_apart(source)
    assert apart is source


def test_a_file_rewritten_under_one_name_is_judged_anew(tmp_path, rng):
    stimulus = lay_out(load_recipe("quick"), rate_hz=48_000, take=1)
    sound = 0.5 * render(stimulus) + rng.normal(0, 1e-5, stimulus.length)
    path = tmp_path / "a.wav"
    told = []
    for samples in (sound, sound + 0.05):
        soundfile.write(path, samples, 48_000, subtype="PCM_24")
        told.append({item.code for item in judge_capture(open_capture(path), stimulus, 0)[1]})
    assert "dc-offset" not in told[0]
    assert "dc-offset" in told[1]
