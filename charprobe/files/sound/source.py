"""Recorded sound behind one interface, whether it lies on disk or in memory."""

from __future__ import annotations

import hashlib
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from typing import Any, TypeVar, cast

import numpy as np

from charprobe.files.sound.facts import FileFacts
from charprobe.values.arrays import Array

Found = TypeVar("Found")


class Source(ABC):
    """Recorded sound of one or more channels, read piece by piece: by its facts and `read_frames`."""

    facts: FileFacts

    @property
    @abstractmethod
    def name(self) -> str:
        """Name of the file, without its folder."""

    @abstractmethod
    def sha256(self) -> str:
        """SHA-256 of the file, 64 hex digits."""

    @property
    def rate_hz(self) -> int:
        """Sampling rate according to the header."""
        return self.facts.rate_hz

    @property
    def frames(self) -> int:
        """Samples per channel."""
        return self.facts.frames

    @property
    def channels(self) -> int:
        """Number of channels."""
        return self.facts.channels

    @abstractmethod
    def read_frames(self, start: int, stop: int) -> Array:
        """Samples `start` to `stop` of all channels, clipped to what there is; shape (n, channels)."""

    def read(self, start: int, stop: int, channel: int) -> Array:
        """Samples `start` to `stop` of one channel (from 0), clipped to what there is; shape (n,)."""
        if not 0 <= channel < self.channels:
            raise ValueError(f"channel {channel} of a source with channels 0 to {self.channels - 1}")
        return np.ascontiguousarray(self.read_frames(start, stop)[:, channel])

    def blocks(self, channel: int, length: int) -> Iterator[Array]:
        """Iterate over one channel in pieces of `length` samples, the last one shorter."""
        for start in range(0, self.frames, length):
            yield self.read(start, start + length, channel)

    def once(self, gather: Callable[[Source], Found]) -> Found:
        """Return what `gather` finds in this source, gathered once for as long as it is in use."""
        found: dict[object, Any] = self.__dict__.setdefault("_found", {})
        if gather not in found:
            found[gather] = gather(self)
        return cast("Found", found[gather])

    def _clipped(self, start: int, stop: int) -> tuple[int, int]:
        first = min(max(start, 0), self.frames)
        return first, max(first, min(stop, self.frames))


class MemoryCapture(Source):
    """Samples held in memory behind the interface of a capture.

    Parameters
    ----------
    samples : ndarray, shape (n, channels) or (n,)
        Full scale = 1.
    rate_hz : int > 0
        Sampling rate.
    name : str
        Shown where a file name would be.
    """

    def __init__(self, samples: Array, *, rate_hz: int, name: str = "samples") -> None:
        values = np.asarray(samples, dtype=np.float64)
        values = values[:, None] if values.ndim == 1 else values
        if values.ndim != 2 or values.shape[0] < 1 or values.shape[1] < 1 or rate_hz <= 0:
            raise ValueError(f"samples of shape {np.shape(samples)} at {rate_hz} Hz are no sound")
        self.samples = values
        self._name = name
        self.facts = FileFacts(
            container="memory",
            subtype="float64",
            bits=64,
            rate_hz=rate_hz,
            frames=values.shape[0],
            channels=values.shape[1],
            size_bytes=values.nbytes,
            header_frames=values.shape[0],
            length="as written",
        )

    @property
    def name(self) -> str:
        """What is shown where a file name would be."""
        return self._name

    def read_frames(self, start: int, stop: int) -> Array:
        """Samples `start` to `stop` of all channels, clipped to what there is; shape (n, channels)."""
        first, last = self._clipped(start, stop)
        return self.samples[first:last].copy()

    def sha256(self) -> str:
        """SHA-256 of the interleaved little-endian float64 samples, 64 hex digits."""
        return hashlib.sha256(np.ascontiguousarray(self.samples, dtype="<f8").tobytes()).hexdigest()
