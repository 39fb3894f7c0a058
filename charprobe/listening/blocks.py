"""Walking through sound piece by piece, so that two hours cost no more memory than two minutes."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from charprobe.cut import Array
from charprobe.source import Source

BLOCK_FRAMES = 1 << 16


def read_padded(source: Source, start: int, stop: int) -> Array:
    """Read frames `start` to `stop`, zeros beyond its ends; shape (stop - start, channels)."""
    out = np.zeros((stop - start, source.channels))
    first, last = max(0, start), min(source.frames, stop)
    if last > first:
        out[first - start : last - start] = source.read_frames(first, last)
    return out


def frame_blocks(source: Source) -> Iterator[Array]:
    """Walk through all channels of a source; shape (n, channels) with n up to `BLOCK_FRAMES`."""
    for start in range(0, source.frames, BLOCK_FRAMES):
        yield source.read_frames(start, start + BLOCK_FRAMES)
