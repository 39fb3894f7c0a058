import io
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from charprobe.files.sound.wav_header import read_wav_layout, wav_header
from charprobe.values.errors import SoundFileError

SAMPLES = bytes(range(256)) * 6  # 512 frames of 24-bit mono, no byte pattern that looks like chunks


def layout(raw, size=None):
    return read_wav_layout(io.BytesIO(raw), size_bytes=len(raw) if size is None else size, source="x.wav")


def chunk(name, body):
    return name + struct.pack("<I", len(body)) + body


def fmt(tag=1, channels=1, rate_hz=48_000, sample_bytes=3, bits=24, more=b""):
    block = channels * sample_bytes
    return chunk(b"fmt ", struct.pack("<HHIIHH", tag, channels, rate_hz, rate_hz * block, block, bits) + more)


def riff(*chunks, form=b"RIFF"):
    body = b"WAVE" + b"".join(chunks)
    return form + struct.pack("<I", len(body)) + body


@pytest.mark.parametrize("channels", [1, 2, 3, 8])
@pytest.mark.parametrize("encoding", ["pcm8", "pcm16", "pcm24", "pcm32", "float32", "float64"])
def test_our_own_headers_read_back(encoding, channels):
    head = wav_header(encoding=encoding, rate_hz=96_000, channels=channels, frames=100)
    size = {"pcm8": 1, "pcm16": 2, "pcm24": 3, "pcm32": 4, "float32": 4, "float64": 8}[encoding]
    found = layout(head + bytes(100 * channels * size))
    assert (found.subtype, found.channels, found.rate_hz) == (encoding, channels, 96_000)
    assert (found.frames, found.header_frames, found.length) == (100, 100, "as written")
    assert (found.data_start, found.bits) == (len(head), 8 * size)
    assert found.container == ("WAV extensible" if channels > 2 else "WAV")


def test_beyond_4_gb_the_header_is_rf64_and_holds_the_true_size():
    frames = 400_000_000  # 8 channels of float32: 12.8 GB
    head = wav_header(encoding="float32", rate_hz=48_000, channels=8, frames=frames)
    assert head[:4] == b"RF64"
    found = layout(head, size=len(head) + frames * 32)
    assert (found.frames, found.length) == (frames, "as written")
    assert struct.unpack("<Q", head[20:28])[0] == len(head) + frames * 32 - 8


def test_the_largest_plain_header_and_the_first_rf64():
    most = (0xFFFFFFFF - 66) // 6  # 36 bytes of form and format, 30 of the maker's name
    plain = wav_header(encoding="pcm24", rate_hz=48_000, channels=2, frames=most)
    assert plain[:4] == b"RIFF"
    assert struct.unpack("<I", plain[4:8])[0] == len(plain) + most * 6 - 8
    assert wav_header(encoding="pcm24", rate_hz=48_000, channels=2, frames=most + 1)[:4] == b"RF64"


def test_unknown_chunks_and_odd_ones_with_or_without_padding_are_skipped():
    for odd in (chunk(b"note", b"abc") + b"\0", chunk(b"note", b"abc")):
        found = layout(riff(chunk(b"JUNK", bytes(28)), odd, fmt(), odd, chunk(b"data", SAMPLES), odd))
        assert (found.frames, found.length) == (512, "as written")


def test_the_format_may_follow_the_data():
    assert layout(riff(chunk(b"data", SAMPLES), fmt())).frames == 512


def test_extensible_with_20_of_24_bits():
    guid = struct.pack("<HHIH", 22, 20, 0, 1) + bytes.fromhex("000000001000800000aa00389b71")
    found = layout(riff(fmt(tag=0xFFFE, more=guid), chunk(b"data", SAMPLES)))
    assert (found.container, found.subtype, found.bits) == ("WAV extensible", "pcm24", 20)


def test_24_bits_in_4_bytes_are_read_as_the_4_bytes_they_are():
    found = layout(riff(fmt(sample_bytes=4, bits=24), chunk(b"data", SAMPLES)))
    assert (found.subtype, found.bits, found.frames) == ("pcm32", 24, 384)


def test_a_header_longer_than_the_file_gives_what_is_there():
    raw = riff(fmt(), chunk(b"data", SAMPLES))[:-100]
    found = layout(raw)
    assert (found.length, found.header_frames, found.frames) == ("longer than file", 512, 478)


def test_a_length_of_zero_before_data_was_never_finished():
    raw = riff(fmt(), b"data" + bytes(4) + SAMPLES)
    found = layout(raw)
    assert (found.length, found.header_frames, found.frames) == ("never finished", 0, 512)


@pytest.mark.parametrize("tail", [b"", chunk(b"LIST", bytes(10)), chunk(b"LIST", b"abc") + b"\0"])
def test_a_length_of_zero_with_nothing_but_chunks_after_it_is_empty(tail):
    found = layout(riff(fmt(), b"data" + bytes(4) + tail))
    assert (found.length, found.frames) == ("as written", 0)


def test_an_open_length_runs_to_the_end_of_the_file():
    found = layout(riff(fmt(), b"data\xff\xff\xff\xff" + SAMPLES))
    assert (found.length, found.header_frames, found.frames) == ("open-ended", None, 512)


class Sparse(io.RawIOBase):
    """Zeros everywhere but in a few places, however long."""

    def __init__(self, *pieces):
        self.pieces, self.at = pieces, 0

    def seek(self, at, whence=0):
        self.at = at
        return at

    def read(self, count=-1):
        out = bytearray(count)
        for offset, raw in self.pieces:
            for i, byte in enumerate(raw):
                if 0 <= offset + i - self.at < count:
                    out[offset + i - self.at] = byte
        self.at += count
        return bytes(out)


@pytest.mark.parametrize("tail", [b"", chunk(b"LIST", b"info")])
def test_a_size_that_overflowed_is_taken_from_the_file(tail):
    frames = 1_500_000_000  # 4.5 GB of 24-bit mono
    head = riff(fmt()) + b"data" + struct.pack("<I", frames * 3 % 2**32)
    size = len(head) + frames * 3 + len(tail)
    stream = Sparse((0, head), (size - len(tail), tail))
    found = read_wav_layout(stream, size_bytes=size, source="x.wav")
    assert found.length == "wrapped"
    assert found.frames == frames


def test_a_short_data_chunk_before_4_gb_of_another_chunk_is_believed():
    head = riff(fmt()) + chunk(b"data", bytes(30)) + b"more" + struct.pack("<I", 2**32 - 2)
    size = len(head) + 2**32 - 2
    found = read_wav_layout(Sparse((0, head)), size_bytes=size, source="x.wav")
    assert (found.length, found.frames) == ("as written", 10)


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (riff(), "no usable format chunk in its 12 bytes"),
        (riff(fmt()), "no data chunk"),
        (riff(b"ds64\x1c\0\0\0\0\0\0", form=b"RF64"), "no usable format chunk"),
        (riff(chunk(b"fmt ", bytes(8)), chunk(b"data", SAMPLES)), "no usable format chunk"),
        (riff(fmt(channels=0), chunk(b"data", SAMPLES)), "the header claims 0 channels at 48000 Hz"),
        (riff(fmt(channels=5000), chunk(b"data", SAMPLES)), "the header claims 5000 channels"),
        (riff(fmt(rate_hz=0), chunk(b"data", SAMPLES)), "1 channels at 0 Hz"),
        (riff(fmt(tag=0x55), chunk(b"data", SAMPLES)), "MP3 samples"),
        (riff(fmt(tag=7, sample_bytes=1, bits=8), chunk(b"data", SAMPLES)), "u-law samples"),
        (riff(fmt(tag=0x999), chunk(b"data", SAMPLES)), "format code 2457 samples"),
        (riff(fmt(tag=3, sample_bytes=2, bits=16), chunk(b"data", SAMPLES)), "16-bit samples in 2 bytes"),
    ],
)
def test_what_cannot_be_read_is_told_with_the_remedy(raw, message):
    with pytest.raises(SoundFileError, match=message) as caught:
        layout(raw)
    assert str(caught.value).startswith("x.wav: ")
    assert "The file was not changed" in str(caught.value)


GOOD = riff(fmt(), chunk(b"note", b"abc"), chunk(b"data", SAMPLES))


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(GOOD)), st.binary(max_size=40), st.integers(0, 80))
def test_torn_and_overwritten_headers_give_a_layout_inside_the_file_or_an_error(cut, junk, at):
    raw = (GOOD[:at] + junk + GOOD[at + len(junk) :])[:cut]
    try:
        found = layout(raw)
    except SoundFileError:
        return
    assert 0 <= found.data_start <= len(raw)
    assert found.data_start + found.frames * found.frame_bytes <= len(raw)
