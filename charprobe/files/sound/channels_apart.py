"""The channels of a capture laid apart in one pass, so that reading one afterwards reads nothing else."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from charprobe.files.sound.sample_codes import SINGLE
from charprobe.files.sound.source import Pieces, Source
from charprobe.values.arrays import Array

BLOCK = 1 << 16
MOST_OF_DISK = 0.5  # of what is free in the folder for temporary files


@contextmanager
def channels_apart(source: Source) -> Iterator[Source]:
    """Read a capture once and hold its channels one after the other in a temporary file.

    Parameters
    ----------
    source : Source
        Any capture.

    Yields
    ------
    Source
        The same samples, to the last bit; `source` itself where there is one channel only, or too little
        room for temporary files. The file is gone afterwards, even after a kill.
    """
    kind = np.dtype("<f4" if source.facts.subtype in SINGLE else "<f8")
    needed = kind.itemsize * source.channels * source.frames
    if source.channels < 2 or needed > MOST_OF_DISK * shutil.disk_usage(tempfile.gettempdir()).free:
        yield source
        return
    with tempfile.TemporaryFile(prefix="charprobe-") as file:
        samples = np.memmap(file, dtype=kind, mode="w+", shape=(source.channels, source.frames))
        for start in range(0, source.frames, BLOCK):
            block = source.read_frames(start, start + BLOCK)
            samples[:, start : start + len(block)] = block.T
        yield _Apart(source, samples)


class _Apart(Pieces):
    def __init__(self, source: Source, samples: NDArray[np.floating]) -> None:
        self._source, self._samples = source, samples
        self.facts = source.facts

    @property
    def name(self) -> str:
        return self._source.name

    def read(self, start: int, stop: int, channel: int) -> Array:
        if not 0 <= channel < self.channels:
            raise ValueError(f"channel {channel} of a source with channels 0 to {self.channels - 1}")
        first, last = self._clipped(start, stop)
        return np.array(self._samples[channel, first:last], dtype=np.float64)

    def read_frames(self, start: int, stop: int) -> Array:
        first, last = self._clipped(start, stop)
        return np.ascontiguousarray(self._samples[:, first:last].T, dtype=np.float64)

    def sha256(self) -> str:
        return self._hash

    @cached_property
    def _hash(self) -> str:
        return self._source.sha256()
