"""The channels of a capture laid apart in one pass, so that reading one afterwards reads nothing else."""

from __future__ import annotations

import shutil
import tempfile
import weakref
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from charprobe.files.sound.decoded import Decoded
from charprobe.files.sound.frames import BLOCK_FRAMES
from charprobe.files.sound.sample_codes import held_in
from charprobe.files.sound.source import Source
from charprobe.values.arrays import Array

MOST_OF_DISK = 0.5  # of what is free in the folder for temporary files


def channels_apart(source: Source) -> Source:
    """Read a capture once and hold its channels one after the other in a temporary file: the same samples.

    The source itself is returned where there is one channel only, or too little room for temporary files. The
    file goes with the last use of what is returned, even after a kill.
    """
    kind = held_in(source.facts.subtype)
    needed = kind.itemsize * source.channels * source.frames
    if source.channels < 2 or needed > MOST_OF_DISK * shutil.disk_usage(tempfile.gettempdir()).free:
        return source
    return _Apart(source, kind)


class _Apart(Decoded):
    def __init__(self, source: Source, kind: np.dtype[np.floating]) -> None:
        self._source, self._kind = source, kind
        self.facts = source.facts
        self._file = tempfile.TemporaryFile(prefix="charprobe-")  # noqa: SIM115  closed with its source
        weakref.finalize(self, self._file.close)
        for start in range(0, source.frames, BLOCK_FRAMES):
            block = source.read_frames(start, start + BLOCK_FRAMES)
            for channel, samples in enumerate(block.T):
                self._file.seek(self._place(channel, start))
                self._file.write(samples.astype(kind).data)

    @property
    def name(self) -> str:
        return self._source.name

    def _place(self, channel: int, frame: int) -> int:
        return self._kind.itemsize * (channel * self.frames + frame)

    def _decoded(self, channel: int, number: int) -> NDArray[np.floating]:
        first, last = self._block(number)
        self._file.seek(self._place(channel, first))
        return np.fromfile(self._file, self._kind, last - first)

    def read_frames(self, start: int, stop: int) -> Array:
        return self._source.read_frames(start, stop)

    def sha256(self) -> str:
        return self._hash

    @cached_property
    def _hash(self) -> str:
        return self._source.sha256()
