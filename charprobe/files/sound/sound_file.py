"""Sound files in and out: captures read piece by piece exactly as recorded, stimuli written to the bit."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import BinaryIO

import numpy as np
import soundfile  # type: ignore[import-untyped]  # ships no types

from charprobe.files.output import check_space, write_with
from charprobe.files.sound.containers import ACCEPTED
from charprobe.files.sound.decoded import Decoded
from charprobe.files.sound.facts import Encoding, FileFacts, LengthTold
from charprobe.files.sound.frames import BLOCK_FRAMES
from charprobe.files.sound.sample_codes import WrittenEncoding, decode, decode_channel, encode
from charprobe.files.sound.sound_path import kind_of, opened, size_of
from charprobe.files.sound.source import MemoryCapture, Source
from charprobe.files.sound.wav_header import WavLayout, check_claims, read_wav_layout, wav_header
from charprobe.values.arrays import Array
from charprobe.values.errors import SoundFileError

__all__ = ["Capture", "FileFacts", "MemoryCapture", "Source", "open_capture", "write_wav", "write_wav_blocks"]

_LIBRARY_ENCODINGS: dict[str, tuple[Encoding, int]] = {
    "PCM_S8": ("pcm8", 8),
    "PCM_U8": ("pcm8", 8),
    "PCM_16": ("pcm16", 16),
    "PCM_24": ("pcm24", 24),
    "PCM_32": ("pcm32", 32),
    "FLOAT": ("float32", 32),
    "DOUBLE": ("float64", 64),
}


@dataclass(frozen=True)
class Capture(Decoded):
    """A sound file on disk, read where asked and never changed; get one from `open_capture`.

    No handle stays open: a capture can be pickled, copied and read from several threads or processes. What
    was read last of a channel is kept decoded, and handed out as it is: it cannot be written to.
    """

    path: Path
    facts: FileFacts

    @property
    def name(self) -> str:
        """Name of the file, without its folder."""
        return self.path.name

    def read_frames(self, start: int, stop: int) -> Array:
        """Samples `start` to `stop` of all channels, clipped to what there is; shape (n, channels).

        Values are exactly those stored: nothing is resampled, mixed, dithered or scaled but by full scale.

        Raises
        ------
        SoundFileError
            If the file has gone, grew or shrank since it was opened, or is damaged here.
        """
        first, last = self._clipped(start, stop)
        self._check_unchanged()
        if not isinstance(self.facts, WavLayout):
            return self._whole(_read_library(self.path, first, last), first, last)
        raw = self._stored(self.facts, first, last)
        return self._whole(decode(raw, encoding=self.facts.subtype, channels=self.channels), first, last)

    def _stored(self, wav: WavLayout, first: int, last: int) -> bytes:
        """Return the bytes of frames `first` to `last`, as many whole frames as there are."""
        with opened(self.path) as stream:
            stream.seek(wav.data_start + first * wav.frame_bytes)
            raw = stream.read((last - first) * wav.frame_bytes)
        return raw[: len(raw) - len(raw) % wav.frame_bytes]

    def _whole(self, values: Array, first: int, last: int) -> Array:
        """Return what was read of `first` to `last`, if nothing of it is missing."""
        if len(values) != last - first:
            raise SoundFileError(
                f"{self.path}: only {first + len(values)} of {self.frames} samples per channel can be read: "
                "the file is damaged, or its disk has gone. Copy it again from the recorder. It was not "
                "changed"
            )
        return values

    def _decoded(self, channel: int, number: int) -> Array:
        first, last = self._block(number)
        if not isinstance(self.facts, WavLayout):
            return self.read_frames(first, last)[:, channel]
        self._check_unchanged()
        raw, encoding = self._stored(self.facts, first, last), self.facts.subtype
        return self._whole(
            decode_channel(raw, encoding=encoding, channels=self.channels, channel=channel), first, last
        )

    def __getstate__(self) -> dict[str, object]:
        return {"path": self.path, "facts": self.facts}

    def _check_unchanged(self) -> None:
        size = size_of(self.path)
        if size != self.facts.size_bytes:
            raise SoundFileError(
                f"{self.path}: has {size} bytes now and had {self.facts.size_bytes} when it was opened: it "
                "is still being recorded or copied. Wait until it is finished, then run again"
            )

    def sha256(self) -> str:
        """SHA-256 of the whole file as it lies on disk, 64 hex digits."""
        self._check_unchanged()
        now = self.path.stat()
        return _sha256(self.path, (now.st_ino, now.st_size, now.st_mtime_ns))


@lru_cache(maxsize=1024)  # a session asks for it before it measures, while it does, and for its page
def _sha256(path: Path, state: tuple[int, int, int]) -> str:
    """Hash a file once for as long as it is what it was."""
    with opened(path) as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def open_capture(path: str | Path) -> Capture:
    """Open a sound file: WAV (also extensible, RF64, BW64), FLAC, AIFF, CAF or W64, any number of channels.

    Only the header is read here. A header that promises more than the file holds, or whose size
    overflowed, is told by ``facts.length``; the capture then covers what is really there.

    Raises
    ------
    SoundFileError
        If there is no such file, if it holds no sound, is coded with loss or in an unknown way, cannot be
        read, or if its header was never finished; the message says what to do. The file is never changed.
    """
    path = Path(path)
    size = size_of(path)
    container = kind_of(path)
    if container.reader == "wav":
        with opened(path) as stream:
            facts: FileFacts = read_wav_layout(stream, size_bytes=size, source=str(path))
    else:
        facts = _library_facts(path, container.name, size)
    if facts.length != "as written" and path.stat().st_size != size:
        raise SoundFileError(
            f"{path}: still growing: it is being recorded or copied. Wait until it is finished, then run "
            "again"
        )
    if facts.length == "never finished":
        raise SoundFileError(
            f"{path}: its header was never finished (recorder stopped abruptly?): it says 0 samples, yet "
            f"{facts.duration_s:.1f} s of sound seem to follow. Make a repaired copy (charprobe check FILE "
            "--repair COPY.wav), or let the recorder recover the take. The file was not changed"
        )
    if facts.frames == 0:
        raise SoundFileError(
            f"{path}: a {facts.container} file without a single sample: the recording never started, or the "
            "export went wrong. Record or export again. The file was not changed"
        )
    return Capture(path, facts)


def _library_facts(path: Path, container: str, size_bytes: int) -> FileFacts:
    """Facts of a file that the sound file library reads; a shortened one counts as far as it can be read."""
    try:
        with soundfile.SoundFile(path) as file:
            subtype, rate_hz, channels, frames = file.subtype, file.samplerate, file.channels, file.frames
    except soundfile.SoundFileError as error:
        raise SoundFileError(
            f"{path}: looks like {container} but cannot be opened ({error}): it is damaged or incomplete. "
            "Copy it again from the recorder, or export it again as WAV. The file was not changed"
        ) from None
    if subtype not in _LIBRARY_ENCODINGS:
        raise SoundFileError(
            f"{path}: {container} file with {subtype} samples: its coding alters or hides the recorded "
            f"values. Accepted are {ACCEPTED} with PCM or float samples: export it again. The file was not "
            "changed"
        )
    check_claims(str(path), channels=channels, rate_hz=rate_hz)
    encoding, bits = _LIBRARY_ENCODINGS[subtype]
    most = size_bytes << 16  # no coding packs more samples into a byte
    promised = frames if 0 <= frames < most else None  # None: the writer left the length open
    readable = _readable_frames(path, most if promised is None else promised)
    length: LengthTold = "as written" if readable == promised else "longer than file"
    if promised is None:
        length = "open-ended"
    return FileFacts(
        container=container,
        subtype=encoding,
        bits=bits,
        rate_hz=rate_hz,
        frames=readable,
        channels=channels,
        size_bytes=size_bytes,
        header_frames=promised,
        length=length,
    )


def _readable_frames(path: Path, promised: int) -> int:
    """Frames up to the last that the library can reach, found by halving if the very last is missing."""

    def holds(frame: int) -> bool:
        try:
            return len(_read_library(path, frame, frame + 1)) == 1
        except SoundFileError:
            return False

    if promised == 0 or holds(promised - 1):
        return promised
    low, high = 0, promised - 1  # frames below `low` are there, those from `high` on are not
    while low < high:
        middle = (low + high) // 2
        low, high = (middle + 1, high) if holds(middle) else (low, middle)
    return low


def _read_library(path: Path, first: int, last: int) -> Array:
    try:
        with soundfile.SoundFile(path) as file:
            file.seek(first)
            return np.asarray(file.read(last - first, dtype="float64", always_2d=True), dtype=np.float64)
    except soundfile.SoundFileError as error:
        raise SoundFileError(
            f"{path}: cannot be read from sample {first} on ({error}): the file is damaged there, or changed "
            "while being read. Copy it again from the recorder. The file was not changed"
        ) from None


def write_wav(
    path: str | Path, samples: Array, *, rate_hz: int, subtype: WrittenEncoding, force: bool
) -> None:
    """Write a WAV file whose bytes depend on the arguments alone, then read it back and compare.

    Parameters
    ----------
    path : str or Path
        File to write; it appears only when complete.
    samples : ndarray, shape (n,) or (n, channels)
        Finite, full scale = 1; within -1 to 1 for ``"pcm24"`` (see `sample_codes.encode`).
    rate_hz : int > 0
        Sampling rate.
    subtype : {"float32", "pcm24"}
        Coding of the samples. Beyond 4 GB the file becomes RF64.
    force : bool
        Whether an existing file may be replaced.

    Raises
    ------
    SoundFileError
        If the samples cannot be held, or the file does not read back equal.
    OutputError
        If the place cannot be written to, or the disk lacks room.
    """
    values = np.asarray(samples)
    values = values[:, None] if values.ndim == 1 else values
    blocks = (values[start : start + BLOCK_FRAMES] for start in range(0, len(values), BLOCK_FRAMES))
    write_wav_blocks(path, blocks, size=values.shape, rate_hz=rate_hz, subtype=subtype, force=force)


def write_wav_blocks(
    path: str | Path,
    blocks: Iterable[Array],
    *,
    size: tuple[int, int],
    rate_hz: int,
    subtype: WrittenEncoding,
    force: bool,
) -> str:
    """Write a WAV file block by block, so that a long one needs no more memory than a short one.

    Parameters as in `write_wav`; `blocks` of shape (n, channels) follow each other and are `size` together,
    frames and channels. Returns the SHA-256 of the sample bytes alone, 64 hex digits.
    """
    path = Path(path)
    frames, channels = size
    sample_bytes = 3 if subtype == "pcm24" else 4
    header = wav_header(encoding=subtype, rate_hz=rate_hz, channels=channels, frames=frames)
    if path.parent.is_dir():
        check_space(path.parent, needed_bytes=len(header) + frames * channels * sample_bytes)

    written = hashlib.sha256()

    def write(stream: BinaryIO) -> None:
        stream.write(header)
        for block in blocks:
            stored = encode(block, encoding=subtype)
            written.update(stored)
            stream.write(stored)
        stream.write(b"\0" * (frames * channels * sample_bytes % 2))
        _compare(path, stream, frames, subtype, written.hexdigest())

    write_with(path, write, force=force, sound=True)
    return written.hexdigest()


def _compare(path: Path, stream: BinaryIO, frames: int, subtype: WrittenEncoding, sha256: str) -> None:
    """Read the written file back from the same stream; anything but equality is an error."""
    stream.flush()
    layout = read_wav_layout(stream, size_bytes=stream.seek(0, 2), source=str(path))
    stream.seek(layout.data_start)
    left, read = layout.frames * layout.frame_bytes, hashlib.sha256()
    while left > 0 and (stored := stream.read(min(left, BLOCK_FRAMES))):
        read.update(stored)
        left -= len(stored)
    if layout.frames != frames or layout.subtype != subtype or read.hexdigest() != sha256:
        raise SoundFileError(
            f"{path}: does not read back as it was written: the disk is failing. Choose another; nothing was "
            "kept"
        )
