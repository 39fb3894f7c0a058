"""WAV headers to the byte: reading those of any recorder, however broken, and building our own."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from charprobe.files.output import WAV_MARK
from charprobe.files.sound.facts import Encoding, FileFacts, LengthTold
from charprobe.values.errors import SoundFileError

MAX_CHUNKS = 10_000
MAX_CHANNELS = 256
MIN_RATE_HZ, MAX_RATE_HZ = 1_000, 3_072_000
OPEN_ENDED = 0xFFFFFFFF  # a writer that could not seek back leaves this as the size
MAX_RIFF_BYTES = 0xFFFFFFFF  # a plain RIFF header cannot say more; RF64 takes over

_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_GUID_TAIL = bytes.fromhex("000000001000800000aa00389b71")
_ENCODINGS: dict[tuple[int, int], Encoding] = {
    (_PCM, 1): "pcm8",
    (_PCM, 2): "pcm16",
    (_PCM, 3): "pcm24",
    (_PCM, 4): "pcm32",
    (_FLOAT, 4): "float32",
    (_FLOAT, 8): "float64",
}
_BYTES = {encoding: sample_bytes for (_, sample_bytes), encoding in _ENCODINGS.items()}
_CODECS = {2: "ADPCM", 6: "A-law", 7: "u-law", 0x11: "ADPCM", 0x31: "GSM", 0x50: "MPEG", 0x55: "MP3"}


@dataclass(frozen=True)
class WavLayout(FileFacts):
    """Facts of a WAV file, and where its samples lie, little-endian and interleaved.

    `frame_bytes` are those of a sample of all channels, `data_start` is the offset of the first in the file.
    """

    frame_bytes: int
    data_start: int


def read_wav_layout(stream: BinaryIO, *, size_bytes: int, source: str) -> WavLayout:
    """Find the samples in an open WAV, RF64 or BW64 file of `size_bytes`; `source` names it in messages.

    Unknown chunks are skipped, and so are missing pad bytes. Sizes that cannot be true are told by ``length``
    in the result and replaced by what the file holds. `SoundFileError` if there is no format or no data, or
    the coding is not plain PCM or float.
    """
    stream.seek(0)
    form = stream.read(4)
    fmt: bytes | None = None
    ds64: int | None = None
    data: tuple[int, int] | None = None
    for name, start, length in _chunks(stream, 12, size_bytes):
        if name == b"ds64" and form != b"RIFF" and len(sizes := _at(stream, start, min(length, 24))) == 24:
            ds64 = struct.unpack("<QQQ", sizes)[1]
        elif name == b"fmt " and fmt is None:
            fmt = _at(stream, start, min(length, 64))
        elif name == b"data" and data is None:
            data = (start, ds64 if ds64 is not None and length == OPEN_ENDED else length)
        if fmt is not None and data is not None:
            break
    if fmt is None or len(fmt) < 16 or data is None:
        missing = "no data chunk" if fmt is not None and len(fmt) >= 16 else "no usable format chunk"
        raise SoundFileError(
            f"{source}: a WAV file with {missing} in its {size_bytes} bytes: the header is damaged or the "
            "file was cut off, so the samples cannot be found. Copy it again from the recorder, or export it "
            "again as WAV or FLAC. The file was not changed"
        )
    return _layout(stream, form, fmt, *data, size_bytes, source)


def check_claims(source: str, *, channels: int, rate_hz: int) -> None:
    """Refuse a header of channels or a sampling rate that no recorder has."""
    if not 1 <= channels <= MAX_CHANNELS or not MIN_RATE_HZ <= rate_hz <= MAX_RATE_HZ:
        raise SoundFileError(
            f"{source}: the header claims {channels} channels at {rate_hz} Hz; readable are 1 to "
            f"{MAX_CHANNELS} channels at {MIN_RATE_HZ} to {MAX_RATE_HZ} Hz. The header is damaged: export "
            "the capture again. The file was not changed"
        )


def _layout(
    stream: BinaryIO, form: bytes, fmt: bytes, start: int, promised: int, size_bytes: int, source: str
) -> WavLayout:
    tag, channels, rate_hz, _, frame_bytes, bits = struct.unpack("<HHIIHH", fmt[:16])
    extensible = tag == _EXTENSIBLE
    valid_bits = bits
    if extensible and len(fmt) >= 40:
        valid_bits = struct.unpack("<H", fmt[18:20])[0] or bits
        tag = struct.unpack("<H", fmt[24:26])[0] if fmt[26:40] == _GUID_TAIL else -1
    check_claims(source, channels=channels, rate_hz=rate_hz)
    sample_bytes = frame_bytes // channels if frame_bytes % channels == 0 else 0
    encoding = _ENCODINGS.get((tag, sample_bytes))
    if encoding is None:
        coding = _CODECS.get(tag, f"format code {tag}") if tag not in (_PCM, _FLOAT) else f"{bits}-bit"
        raise SoundFileError(
            f"{source}: a WAV file with {coding} samples in {frame_bytes} bytes per frame of {channels} "
            "channels; readable are 8, 16, 24 and 32-bit PCM and 32 and 64-bit float, because coded sound "
            "would alter harmonics, noise and timing. Record or export as plain WAV or FLAC. The file was "
            "not changed"
        )
    length, used = _length(stream, form, start, promised, size_bytes, frame_bytes)
    container = "WAV extensible" if extensible else "WAV"
    return WavLayout(
        container=container if form == b"RIFF" else form.decode("latin-1"),
        subtype=encoding,
        bits=min(valid_bits, 8 * sample_bytes) if valid_bits else 8 * sample_bytes,
        rate_hz=rate_hz,
        frames=used // frame_bytes,
        channels=channels,
        size_bytes=size_bytes,
        header_frames=None if length == "open-ended" else promised // frame_bytes,
        length=length,
        frame_bytes=frame_bytes,
        data_start=start,
    )


def _length(
    stream: BinaryIO, form: bytes, start: int, promised: int, size_bytes: int, frame_bytes: int
) -> tuple[LengthTold, int]:
    """Settle how long the sound is, in bytes, trusting the file where the header cannot be true."""
    held = size_bytes - start
    if promised > held:
        return "open-ended" if promised == OPEN_ENDED else "longer than file", held
    if form == b"RIFF" and held - promised >= 1 << 32 and not _chained(stream, start + promised, size_bytes):
        return "wrapped", promised + ((held - promised) >> 32 << 32)
    if promised == 0 and held >= frame_bytes and not _chained(stream, start, size_bytes):
        return "never finished", held
    return "as written", promised


def _at(stream: BinaryIO, offset: int, count: int) -> bytes:
    stream.seek(offset)
    return stream.read(count)


def _named(head: bytes) -> bool:
    """Tell whether 8 bytes look like the head of a chunk."""
    return len(head) == 8 and all(0x20 <= byte < 0x7F for byte in head[:4])


def _chunks(stream: BinaryIO, offset: int, size_bytes: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield (name, offset of the body, length as written) of each chunk."""
    for _ in range(MAX_CHUNKS):
        head = _at(stream, offset, 8)
        if not _named(head):
            return
        length = int.from_bytes(head[4:], "little")
        yield head[:4], offset + 8, length
        offset += 8 + length
        if length % 2 and (_named(_at(stream, offset + 1, 8)) or not _named(_at(stream, offset, 8))):
            offset += 1  # the pad byte of an odd chunk; some writers leave it out
        if offset >= size_bytes:
            return


def _chained(stream: BinaryIO, offset: int, size_bytes: int) -> bool:
    """Tell whether whole chunks, and nothing else, follow from `offset` to the end of the file."""
    offset += offset % 2
    if offset >= size_bytes:
        return True
    end = -1
    for _, start, length in _chunks(stream, offset, size_bytes):
        end = start + length
    return end >= 0 and size_bytes - 1 <= end <= size_bytes


def wav_header(
    *, encoding: Encoding, rate_hz: int, channels: int, frames: int, recorded: bool = False
) -> bytes:
    """Build the bytes that precede the samples: nothing in them but the arguments, so files repeat exactly.

    RF64 is used where plain WAV cannot hold the size; more than two channels use the extensible format.
    A file names its maker, so that it may be replaced, unless it was `recorded`.
    """
    sample_bytes = _BYTES[encoding]
    tag = _PCM if encoding.startswith("pcm") else _FLOAT
    frame_bytes = channels * sample_bytes
    data_bytes = frames * frame_bytes
    extensible = channels > 2
    fmt = struct.pack(
        "<HHIIHH",
        _EXTENSIBLE if extensible else tag,
        channels,
        rate_hz,
        rate_hz * frame_bytes,
        frame_bytes,
        8 * sample_bytes,
    )
    if extensible:
        fmt += struct.pack("<HHIH", 22, 8 * sample_bytes, 0, tag) + _GUID_TAIL
    elif tag == _FLOAT:
        fmt += struct.pack("<H", 0)
    body = _chunk(b"fmt ", fmt)
    if tag == _FLOAT:
        body += _chunk(b"fact", struct.pack("<I", min(frames, OPEN_ENDED)))
    if not recorded:
        body += _chunk(b"LIST", b"INFO" + _chunk(b"ISFT", WAV_MARK))
    riff_bytes = 4 + len(body) + 8 + data_bytes + data_bytes % 2
    if riff_bytes <= MAX_RIFF_BYTES:
        size, data_size = struct.pack("<I", riff_bytes), struct.pack("<I", data_bytes)
        return b"RIFF" + size + b"WAVE" + body + b"data" + data_size
    sizes = struct.pack("<QQQI", riff_bytes + 36, data_bytes, frames, 0)
    open_ended = struct.pack("<I", OPEN_ENDED)
    return b"RF64" + open_ended + b"WAVE" + _chunk(b"ds64", sizes) + body + b"data" + open_ended


def _chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)
