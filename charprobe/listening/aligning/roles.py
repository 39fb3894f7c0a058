"""Whether the two files of a pair are what they are called."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from charprobe.files.sound.frames import Frames, read_padded
from charprobe.values.arrays import Array

RoleVerdict = Literal["as named", "swapped", "cannot tell"]
_WINDOW_S = 0.03
MAX_WINDOWS = 20_000
_CLEAR_SLOPE = 0.03  # dB of gain per dB of level
_CLEAR_CORRELATION = 0.35


@dataclass(frozen=True)
class Roles:
    """What the gain from dry to processed does as the level rises.

    `slope` is in dB of gain per dB of level (the mean of both files): a stage that compresses or saturates
    gives a negative one, and a positive one when the files are exchanged; `correlation` tells how closely the
    gain follows the level.
    """

    verdict: RoleVerdict
    slope: float
    correlation: float


def check_roles(dry: Frames, processed: Frames, *, dry_channels: tuple[int, ...]) -> Roles:
    """Judge from short windows of a pair on one clock, the quietest (40 dB below the loudest) left out."""
    size = round(_WINDOW_S * dry.rate_hz)
    hop = max(size, dry.frames // MAX_WINDOWS)
    starts = range(0, max(dry.frames - size, 0) + 1, hop)
    sums = np.array([_sums(dry, processed, dry_channels, start, size) for start in starts])
    xx, xy, yy = sums.T
    used = (xx > xx.max() * 1e-4) & (xy != 0) & (yy > yy.max() * 1e-4)
    if used.sum() < 20:
        return Roles("cannot tell", 0.0, 0.0)
    level = 5 * np.log10(xx[used] * yy[used])  # the mean of both: exchanging the files only turns the sign
    gain = 20 * np.log10(np.abs(xy[used]) / xx[used])
    slope = float(np.polyfit(level, gain, 1)[0])
    correlation = float(np.corrcoef(level, gain)[0, 1]) if np.std(gain) > 1e-6 else 0.0
    if abs(slope) < _CLEAR_SLOPE or abs(correlation) < _CLEAR_CORRELATION:
        return Roles("cannot tell", slope, correlation)
    return Roles("swapped" if slope > 0 else "as named", slope, correlation)


def _sums(dry: Frames, processed: Frames, channels: tuple[int, ...], start: int, size: int) -> Array:
    x = read_padded(dry, start, start + size)[:, channels]
    y = read_padded(processed, start, start + size)
    return np.array([np.sum(x * x) + 1e-30, np.sum(x * y), np.sum(y * y) + 1e-30])
