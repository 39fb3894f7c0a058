"""What kind of file this is, from its first bytes and never from its name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ACCEPTED = "WAV (also extensible, RF64, BW64), FLAC, AIFF, CAF and W64"
HEAD_BYTES = 64

Reader = Literal["wav", "library", "none"]


@dataclass(frozen=True)
class Container:
    """A kind of file: its name in plain words, and who can read it.

    `reader` is ``"wav"`` for our own WAV reader, ``"library"`` for the sound file library and ``"none"``
    where the sound is coded with loss, sits in a multi-track file or is no sound at all; `why` says which.
    """

    name: str
    reader: Reader
    why: str = ""


_LOSSY = "its coding throws sound away, which alters harmonics, noise and attack"
_TRACKS = "it can hold several tracks of coded sound and picture"
_CODED = "its coding is not one that can be read here sample by sample"
_NO_SOUND = "it holds no sound"

_STARTS: tuple[tuple[int, bytes, Container], ...] = (
    (0, b"fLaC", Container("FLAC", "library")),
    (0, b"caff", Container("CAF", "library")),
    (0, b"riff\x2e\x91\xcf\x11", Container("W64", "library")),
    (0, b"RIFX", Container("big-endian WAV", "library")),
    (0, b"OggS", Container("Ogg", "none", _LOSSY)),
    (0, b"ID3", Container("MP3", "none", _LOSSY)),
    (4, b"ftyp", Container("MP4, M4A or MOV", "none", _TRACKS)),
    (4, b"moov", Container("MOV", "none", _TRACKS)),
    (0, b"\x1a\x45\xdf\xa3", Container("Matroska or WebM", "none", _TRACKS)),
    (0, b"\x30\x26\xb2\x75", Container("ASF", "none", _TRACKS)),
    (0, b"#!AMR", Container("AMR", "none", _LOSSY)),
    (0, b"wvpk", Container("lossless coded (wvpk)", "none", _CODED)),
    (0, b"MAC ", Container("lossless coded (MAC)", "none", _CODED)),
    (0, b"DSD ", Container("one-bit (DSD)", "none", _CODED)),
    (0, b"FRM8", Container("one-bit (DSDIFF)", "none", _CODED)),
    (0, b".snd", Container("AU", "none", _CODED)),
    (0, b"PK\x03\x04", Container("ZIP archive", "none", _NO_SOUND)),
    (0, b"%PDF", Container("PDF document", "none", _NO_SOUND)),
    (0, b"\x89PNG", Container("PNG picture", "none", _NO_SOUND)),
    (0, b"\xff\xd8\xff", Container("JPEG picture", "none", _NO_SOUND)),
)
_FORMS = {
    (b"RIFF", b"WAVE"): Container("WAV", "wav"),
    (b"RF64", b"WAVE"): Container("RF64", "wav"),
    (b"BW64", b"WAVE"): Container("BW64", "wav"),
    (b"RIFF", b"AVI "): Container("AVI", "none", _TRACKS),
    (b"FORM", b"AIFF"): Container("AIFF", "library"),
    (b"FORM", b"AIFC"): Container("AIFF-C", "library"),
}


def container_of(head: bytes) -> Container:
    """Name the container from the first `HEAD_BYTES` bytes of a file.

    Examples
    --------
    >>> container_of(b"RIFF....WAVEfmt ").reader
    'wav'
    >>> container_of(b"OggS....").name
    'Ogg'
    """
    if (form := _FORMS.get((head[:4], head[8:12]))) is not None:
        return form
    for offset, start, container in _STARTS:
        if head[offset : offset + len(start)] == start:
            return container
    if len(head) >= 2 and head[0] == 0xFF and head[1] & 0xF6 == 0xF0:
        return Container("AAC stream", "none", _LOSSY)
    if len(head) >= 2 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0:
        return Container("MP3", "none", _LOSSY)
    if head and all(byte in b"\t\r\n" or 0x20 <= byte < 0x7F or byte >= 0x80 for byte in head):
        return Container("text", "none", _NO_SOUND)
    return Container("unknown", "none", "its first bytes are not those of any sound file known here")
