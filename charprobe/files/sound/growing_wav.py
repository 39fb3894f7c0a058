"""A WAV file that is whole at any moment while it grows: what a crash leaves is a file that reads."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from charprobe.files.sound.wav_header import MAX_RIFF_BYTES, wav_header
from charprobe.values.arrays import Array
from charprobe.values.errors import SoundFileError

HEADER_ROOM = 1024  # more than any header of ours


class GrowingWav:
    """A new float32 WAV that blocks are appended to; a file that exists is never touched.

    `SoundFileError` if the file exists, cannot be written, was deleted (what came so far is written anew),
    the disk is full, or it would outgrow a plain WAV (4 GB).
    """

    def __init__(self, path: Path, *, rate_hz: int, channels: int) -> None:
        self.path, self.rate_hz, self.channels, self.frames = path, rate_hz, channels, 0
        try:
            self._stream = path.open("x+b")
        except OSError as error:
            raise SoundFileError(f"{path}: cannot be made ({error.strerror}); nothing was recorded") from None
        self._stream.write(self._header())

    @property
    def descriptor(self) -> int:
        """Number of the open file."""
        return self._stream.fileno()

    def append(self, block: Array) -> None:
        """Append frames, shape (n, channels), as they are: what is not finite is for a judge."""
        size = (self.frames + len(block)) * 4 * self.channels
        if size + HEADER_ROOM > MAX_RIFF_BYTES:
            raise SoundFileError(f"{self.path}: more than 4 GB; record fewer channels. What fitted is kept")
        try:
            self._stream.write(np.asarray(block, dtype="<f4").tobytes())
        except OSError as error:
            raise self._failure(error) from None
        self.frames += len(block)

    def settle(self) -> None:
        """Bring header and samples to the disk: whatever happens next, the file reads up to here."""
        try:
            self._stream.flush()
            self._stream.seek(0)
            self._stream.write(self._header())
            self._stream.flush()
            self._stream.seek(0, os.SEEK_END)
            os.fsync(self.descriptor)
            if not os.fstat(self.descriptor).st_nlink and not self.path.exists():
                raise self._brought_back()
        except OSError as error:
            raise self._failure(error) from None

    def _brought_back(self) -> SoundFileError:
        """Write a file anew that was deleted while it grew: it is held as long as it is open."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        with self.path.open("xb") as anew:
            self._stream.seek(0)
            shutil.copyfileobj(self._stream, anew)
        return SoundFileError(
            f"{self.path}: was deleted while it was recorded, perhaps with its folder. The {self._seconds} "
            "of the take are written there again; look for the rest of the session before you go on"
        )

    @property
    def _seconds(self) -> str:
        return f"{self.frames / self.rate_hz:.0f} s"

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            if kind is None:
                self.settle()
        finally:
            self._close()

    def _close(self) -> None:
        try:
            self._stream.close()
        except OSError as error:  # what was still in the buffer does not fit: the header tells what does
            raise self._failure(error) from None

    def _header(self) -> bytes:
        return wav_header(
            encoding="float32",
            rate_hz=self.rate_hz,
            channels=self.channels,
            frames=self.frames,
            recorded=True,
        )

    def _failure(self, error: OSError) -> SoundFileError:
        return SoundFileError(
            f"{self.path}: cannot be written on ({error.strerror}): make room or choose another disk. About "
            f"{self._seconds} of the take are kept"
        )
