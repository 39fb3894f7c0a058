"""Frames handed from a sound callback to a writer without a lock: each side moves its own count only."""

from __future__ import annotations

import numpy as np

from charprobe.values.arrays import Array


class Ring:
    """A ring of so many frames of so many channels, for one writer and one reader.

    Each side moves its own count only, after it is done with the frames; so neither waits for the other. What
    does not fit is dropped and counted in `lost`.
    """

    def __init__(self, frames: int, channels: int) -> None:
        self._room = np.zeros((frames, channels), dtype=np.float32)
        self._written = self._read = 0
        self.lost = 0

    def put(self, block: Array) -> None:
        """Take over a block, shape (n, channels), as a whole or not at all."""
        count, size = len(block), len(self._room)
        if self._written - self._read + count > size:
            self.lost += count
            return
        at = self._written % size
        first = min(count, size - at)
        self._room[at : at + first] = block[:first]
        self._room[: count - first] = block[first:]
        self._written += count

    def take(self) -> Array:
        """Return what has come in since the last time, shape (n, channels)."""
        count, size = self._written - self._read, len(self._room)
        at = self._read % size
        first = min(count, size - at)
        found = np.concatenate([self._room[at : at + first], self._room[: count - first]])
        self._read += count
        return found
