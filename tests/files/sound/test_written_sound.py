"""What `write_wav` writes: the values, to the byte, or nothing."""

import hashlib
import struct

import numpy as np
import pytest
import soundfile

from charprobe.files.sound import sound_file as audio
from charprobe.files.sound import wav_header
from charprobe.files.sound.sample_codes import encode
from charprobe.files.sound.sound_file import open_capture, write_wav, write_wav_blocks
from charprobe.values.errors import OutputError, SoundFileError

NOISE = np.random.default_rng(1).uniform(-1, 1, (3000, 3))
LSB = 2.0**-23


@pytest.mark.parametrize("channels", [1, 2, 8])
@pytest.mark.parametrize("subtype", ["float32", "pcm24"])
def test_written_files_hold_the_values_and_repeat_to_the_byte(tmp_path, subtype, channels):
    values = np.random.default_rng(3).uniform(-1, 1, (70_001, channels))
    first, second = tmp_path / "a.wav", tmp_path / "b.wav"
    write_wav(first, values, rate_hz=44_100, subtype=subtype, force=False)
    write_wav(second, values, rate_hz=44_100, subtype=subtype, force=False)
    assert first.read_bytes() == second.read_bytes()
    read, rate_hz = soundfile.read(first, always_2d=True)  # a reader that is not ours
    expected = values.astype(np.float32) if subtype == "float32" else np.rint(values / LSB) * LSB
    assert rate_hz == 44_100
    assert np.array_equal(read, expected)
    assert struct.unpack("<I", first.read_bytes()[4:8])[0] == first.stat().st_size - 8


def test_full_scale_does_not_wrap_in_the_file(tmp_path):
    path = tmp_path / "a.wav"
    write_wav(path, np.array([1.0, -1.0]), rate_hz=48_000, subtype="pcm24", force=False)
    assert soundfile.read(path)[0].tolist() == [1 - LSB, -1.0]


@pytest.mark.parametrize("value", [1.5, np.nan])
def test_what_cannot_be_written_leaves_nothing(tmp_path, value):
    samples = np.zeros(200_000)
    samples[150_000] = value
    with pytest.raises(SoundFileError, match="Nothing was written"):
        write_wav(tmp_path / "a.wav", samples, rate_hz=48_000, subtype="pcm24", force=False)
    assert list(tmp_path.iterdir()) == []


def test_beyond_the_plain_size_the_file_becomes_rf64(tmp_path, monkeypatch):
    monkeypatch.setattr(wav_header, "MAX_RIFF_BYTES", 1000)
    path = tmp_path / "a.wav"
    write_wav(path, NOISE, rate_hz=48_000, subtype="float32", force=False)
    assert open_capture(path).facts.container == "RF64"
    assert np.array_equal(open_capture(path).read_frames(0, 3000), NOISE.astype(np.float32))
    assert soundfile.info(path).format == "RF64"
    assert np.array_equal(soundfile.read(path)[0], NOISE.astype(np.float32))


def test_an_existing_file_is_kept_without_force(tmp_path):
    path = tmp_path / "a.wav"
    write_wav(path, NOISE, rate_hz=48_000, subtype="pcm24", force=False)
    before = path.read_bytes()
    with pytest.raises(OutputError, match="already exists; kept as it is"):
        write_wav(path, NOISE[:10], rate_hz=48_000, subtype="pcm24", force=False)
    assert path.read_bytes() == before
    write_wav(path, NOISE[:10], rate_hz=48_000, subtype="pcm24", force=True)
    assert open_capture(path).frames == 10


def test_a_disk_that_returns_other_bytes_is_noticed(tmp_path, monkeypatch):
    real = audio.read_wav_layout

    def fickle(stream, *, size_bytes, source):  # the last bit turns round between writing and reading
        stream.seek(size_bytes - 1)
        last = stream.read(1)[0]
        stream.seek(size_bytes - 1)
        stream.write(bytes([last ^ 1]))
        return real(stream, size_bytes=size_bytes, source=source)

    monkeypatch.setattr(audio, "read_wav_layout", fickle)
    with pytest.raises(SoundFileError, match="does not read back as it was written"):
        write_wav(tmp_path / "a.wav", NOISE, rate_hz=48_000, subtype="pcm24", force=False)
    assert list(tmp_path.iterdir()) == []


def test_blocks_give_the_bytes_of_the_whole_and_their_checksum(tmp_path):
    write_wav(tmp_path / "whole.wav", NOISE, rate_hz=48_000, subtype="pcm24", force=False)
    values = NOISE[:, None] if NOISE.ndim == 1 else NOISE
    blocks = iter([values[:7], values[7:]])
    sha256 = write_wav_blocks(
        tmp_path / "parts.wav", blocks, size=values.shape, rate_hz=48_000, subtype="pcm24", force=False
    )
    assert (tmp_path / "parts.wav").read_bytes() == (tmp_path / "whole.wav").read_bytes()
    assert sha256 == hashlib.sha256(encode(values, encoding="pcm24")).hexdigest()
