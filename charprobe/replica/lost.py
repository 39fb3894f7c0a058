"""Stretches of a printed take that do not come back: found, listed and left as printed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.replica.cell import Passed
from charprobe.replica.model import Replica
from charprobe.values.arrays import Array, Flags

CELL_S = 0.01
_FLAT = 4  # equal samples in a row that make a clipped top
_FLAT_FROM = 0.25  # of full scale
_ABOVE_NOISE = 2.0  # times the noise: below it sound is not told from noise
_APART_S = 0.05
REASONS = ("clipped", "limited to a flat line", "below the noise")


@dataclass(frozen=True)
class LostStretches:
    """A stretch that stays as printed, and why."""

    start_s: float
    end_s: float
    reason: str


class Lost:
    """Keeps printed sound and its flags until the result for the same samples arrives."""

    def __init__(self, replica: Replica, *, rate_hz: float, noise: float) -> None:
        self._back = replica.chain.polarity * 10 ** (-replica.chain.cell.makeup_db / 20)
        self._size = round(CELL_S * rate_hz)
        self._rate_hz, self._noise = rate_hz, noise
        self._sound: list[Array] = []
        self._flags: list[Array] = []
        self._ceilings: list[Array] = []
        self._at = 0
        self._found: list[LostStretches] = []

    def printed(self, block: Array) -> None:
        """Take the next printed samples, shape (n, channels)."""
        self._sound.append(block)

    def heard(self, passed: Passed) -> None:
        """Take what the cell says of its next samples."""
        self._flags.append(passed.lost.any(axis=1).astype(float))

    def flat(self, flags: Flags) -> None:
        """Take whether its next samples lie where the colour is all but flat."""
        self._ceilings.append(flags.any(axis=1).astype(float))

    def mended(self, result: Array) -> tuple[Array, Array]:
        """Return the next samples with lost cells faded to the printed sound, and that sound."""
        count = result.shape[0]
        sound = self._next(self._sound, count)
        limited = self._next(self._flags, count)
        if self._ceilings:
            limited = limited + self._next(self._ceilings, count)
        as_printed = sound * self._back
        cells = -(-count // self._size)
        flags = np.zeros((cells, 3), dtype=bool)
        index = np.arange(count) // self._size
        flags[index[_flat_tops(sound)], 0] = True
        flags[index[limited > 0], 1] = True
        power = np.bincount(index, np.mean(sound**2, axis=1), cells) / np.bincount(index, minlength=cells)
        quiet = power < (_ABOVE_NOISE * self._noise) ** 2
        flags[:, 2] = quiet & ~flags.any(axis=1)
        self._list(flags, count)
        share = np.interp(np.arange(count), (np.arange(cells) + 0.5) * self._size, flags.any(axis=1) * 1.0)
        return result + share[:, None] * (as_printed - result), as_printed

    def _next(self, queue: list[Array], count: int) -> Array:
        held = np.concatenate(queue) if len(queue) != 1 else queue[0]
        queue.clear()
        if held.shape[0] > count:
            queue.append(held[count:])
        return held[:count]

    def _list(self, flags: Flags, count: int) -> None:
        for k, reason in enumerate(REASONS):
            edges = np.flatnonzero(np.diff(flags[:, k].astype(int), prepend=0, append=0)).reshape(-1, 2)
            for first, stop in edges.tolist():
                start_s = (self._at + first * self._size) / self._rate_hz
                end_s = (self._at + min(stop * self._size, count)) / self._rate_hz
                self._found.append(LostStretches(start_s, end_s, reason))
        self._at += count

    def stretches(self) -> tuple[LostStretches, ...]:
        """All that was lost so far in the order of time, neighbours with the same reason joined."""
        joined: list[LostStretches] = []
        for one in sorted(self._found, key=lambda found: (REASONS.index(found.reason), found.start_s)):
            last = joined[-1] if joined else None
            if last and last.reason == one.reason and one.start_s - last.end_s < _APART_S:
                joined[-1] = LostStretches(last.start_s, one.end_s, one.reason)
            else:
                joined.append(one)
        return tuple(sorted(joined, key=lambda found: found.start_s))


def _flat_tops(sound: Array) -> Flags:
    """Samples inside runs of equal loud values in any channel."""
    same = (np.diff(sound, axis=0) == 0) & (np.abs(sound[1:]) > _FLAT_FROM)
    run = np.ones((max(same.shape[0] - _FLAT + 2, 0), same.shape[1]), dtype=bool)
    for k in range(_FLAT - 1):
        run &= same[k : k + run.shape[0]]
    flags = np.zeros(sound.shape[0], dtype=bool)
    for k in range(_FLAT):
        flags[k : k + run.shape[0]] |= run.any(axis=1)
    return flags
