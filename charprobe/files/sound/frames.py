"""Walking through sound piece by piece, so that two hours cost no more memory than two minutes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from charprobe.values.arrays import Array

BLOCK_FRAMES = 1 << 16


class Frames(Protocol):
    """Sound that hands out its frames by position: an open file, or one placed on another's clock."""

    @property
    def rate_hz(self) -> int:
        """Sampling rate."""

    @property
    def frames(self) -> int:
        """Samples per channel."""

    @property
    def channels(self) -> int:
        """Number of channels."""

    def read_frames(self, start: int, stop: int) -> Array:
        """Samples `start` to `stop` of all channels, clipped to what there is; shape (n, channels)."""


@dataclass(frozen=True)
class View:
    """Sound made of other sound while it is read: `read` is asked only for frames that there are."""

    rate_hz: int
    frames: int
    channels: int
    read: Callable[[int, int], Array]

    def read_frames(self, start: int, stop: int) -> Array:
        """Frames `start` to `stop`, clipped to what there is; shape (n, channels)."""
        first = min(max(start, 0), self.frames)
        return self.read(first, max(first, min(stop, self.frames)))


def read_padded(source: Frames, start: int, stop: int) -> Array:
    """Read frames `start` to `stop`, zeros beyond the ends; shape (stop - start, channels)."""
    out = np.zeros((stop - start, source.channels))
    first, last = max(0, start), min(source.frames, stop)
    if last > first:
        out[first - start : last - start] = source.read_frames(first, last)
    return out


def frame_blocks(source: Frames) -> Iterator[Array]:
    """Walk through all channels of a source; shape (n, channels) with n up to `BLOCK_FRAMES`."""
    for start in range(0, source.frames, BLOCK_FRAMES):
        yield source.read_frames(start, start + BLOCK_FRAMES)
