"""What faults of captures are made with: a capture's peak, its clock, and samples read at other times."""

from __future__ import annotations

from zlib import crc32

import numpy as np
from scipy import ndimage, signal

from charprobe.values.arrays import Array


def peak_of(capture: Array) -> float:
    """Peak of all channels, above zero."""
    return max(float(np.abs(capture).max()), 1e-12)


def own_chance(capture: Array, number: int) -> np.random.Generator:
    """Chance that differs from fault to fault and from take to take, but not from run to run."""
    return np.random.default_rng([number, crc32(np.ascontiguousarray(capture).data)])


def clock_s(capture: Array, rate_hz: float, *, from_share: float = 0.0) -> Array:
    """Time of every sample from the first on, or from a share of the capture."""
    return np.arange(capture.shape[0]) / rate_hz - from_share * capture.shape[0] / rate_hz


def read_late(capture: Array, late: Array) -> Array:
    """Every sample read so many samples late; between four times as many, so that treble keeps its level."""
    at = np.arange(capture.shape[0])[:, None] - late.reshape(capture.shape[0], -1)
    place = 4 * np.clip(at, 0, capture.shape[0] - 1)
    finer = signal.resample(capture, 4 * capture.shape[0], axis=0)
    lines = [
        ndimage.map_coordinates(line, place[:, min(n, place.shape[1] - 1)][None], order=5)
        for n, line in enumerate(finer.T)
    ]
    return np.stack(lines, axis=1)
