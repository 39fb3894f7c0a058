"""Two files brought to one sampling rate, for listening and null files only; never for a measurement."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import BinaryIO

import numpy as np
import soxr  # type: ignore[import-untyped]  # ships no types

from charprobe.files.sound.frames import Frames, View, frame_blocks
from charprobe.listening.aligning.pair_checks import PairingError
from charprobe.values.arrays import Array

_BYTES = 8  # of a value on disk: nothing is rounded before the pair is written
_MOST_OF_DISK = 0.5  # of what is free in the folder for temporary files


@contextmanager
def on_one_rate(dry: Frames, processed: Frames) -> Iterator[tuple[Frames, Frames, tuple[str, ...]]]:
    """Convert the faster of two files down to the rate of the other, into a temporary file.

    Gives both on one rate, themselves where they have one already, and a note on what was converted.
    `PairingError` if there is too little room for the temporary file.
    """
    if dry.rate_hz == processed.rate_hz:
        yield dry, processed, ()
        return
    to_hz = min(dry.rate_hz, processed.rate_hz)
    fast, name = (dry, "dry") if dry.rate_hz > to_hz else (processed, "processed")
    note = (
        f"The {name} file was converted from {fast.rate_hz} to {to_hz} Hz for this pair: nothing here speaks "
        f"of sound above {0.45 * to_hz / 1000:.0f} kHz."
    )
    with tempfile.TemporaryFile(prefix="charprobe-") as file:
        slow = _converted(fast, to_hz, file)
        yield (slow, processed, (note,)) if fast is dry else (dry, slow, (note,))


def _converted(source: Frames, to_hz: int, file: BinaryIO) -> Frames:
    needed = _BYTES * source.channels * source.frames * to_hz // source.rate_hz
    free = shutil.disk_usage(tempfile.gettempdir()).free
    if needed > _MOST_OF_DISK * free:
        raise PairingError(
            f"converting the sampling rate needs {needed / 1e9:.1f} GB for a temporary file, "
            f"{free / 1e9:.1f} GB are free in {tempfile.gettempdir()}: make room, or export both files "
            "at one rate"
        )
    stream = soxr.ResampleStream(source.rate_hz, to_hz, source.channels, dtype="float64", quality=soxr.VHQ)
    for block in frame_blocks(source):
        file.write(stream.resample_chunk(np.ascontiguousarray(block)).tobytes())
    file.write(stream.resample_chunk(np.zeros((0, source.channels)), last=True).tobytes())
    width = _BYTES * source.channels

    def read(start: int, stop: int) -> Array:
        file.seek(start * width)
        return np.frombuffer(file.read((stop - start) * width)).reshape(-1, source.channels)

    return View(to_hz, file.tell() // width, source.channels, read)
