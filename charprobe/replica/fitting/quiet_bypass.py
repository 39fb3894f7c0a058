"""The bypass without noise that the stage never heard: the known stimulus as the bypass path passes it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import butter, oaconvolve, sosfiltfilt

from charprobe.listening.aligning.warp import read_at
from charprobe.replica.fitting.pair import Noise, Pair, Sides
from charprobe.stimulus.render import render_between
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.arrays import Array

REACH = 8  # taps of the path on each side of a sample
SLOW_HZ = 60.0  # what the path adds below it is kept: AC coupling rings on down there
LIKE_NOISE = 1.2  # times the noise of the bypass: more left is a path of another kind, and the bypass stays
LEAST = 1e-10  # of the greatest: directions in which a few tones do not tell the path


@dataclass(frozen=True)
class _Played:
    """The stimulus as frames."""

    stimulus: Stimulus
    channels: int = 1

    @property
    def rate_hz(self) -> int:
        return self.stimulus.rate_hz

    @property
    def frames(self) -> int:
        return self.stimulus.length

    def read_frames(self, start: int, stop: int) -> Array:
        return render_between(self.stimulus, start, stop)[:, None]


def read_quiet(pair: Pair, start: float, stop: float, *, noise: Noise) -> Sides:
    """Read both sides between two stimulus positions, the bypass with as much noise as the stage heard.

    Notes
    -----
    A store that rises faster than it falls takes the crests of noise for level: a model that hears noise
    which the stage did not hear finds every threshold too high (by 0.007 dB where it lies 58 dB above the
    noise, many times its interval). The path is fitted as `REACH` taps to each side; where what is left is
    more than noise, the bypass stays as it was captured.
    """
    sides = pair.read(start, stop)
    if noise.heard >= 1 or sides.dry.size < 64 * REACH:
        return sides
    cut = pair.wet.cut(start, stop)
    played = read_at(
        _Played(pair.wet.stimulus),
        first=cut.start - (pair.late + REACH) * cut.step,
        step=cut.step,
        count=sides.dry.size + 2 * REACH,
    )[:, 0]
    path = _path(played, sides.dry)
    passed = oaconvolve(played, path, mode="valid")
    left = sides.dry - passed
    slow = sosfiltfilt(butter(2, SLOW_HZ, fs=pair.rate_hz, output="sos"), left)
    left = left - slow
    if float(np.sqrt(np.mean(left**2))) > LIKE_NOISE * noise.dry:
        return sides
    return replace(sides, dry=passed + slow + np.sqrt(noise.heard) * left)


def _path(played: Array, passed: Array) -> Array:
    """Taps, shape (2 * REACH + 1,), with which what was played comes nearest to what passed the bypass."""
    count, n = 2 * REACH + 1, passed.size
    normal = np.zeros((count, count))
    for lag in range(count):
        normal[0, lag] = played[:n] @ played[lag : lag + n]
    for i in range(count - 1):
        for j in range(i, count - 1):
            dropped, gained = played[i] * played[j], played[i + n] * played[j + n]
            normal[i + 1, j + 1] = normal[i, j] - dropped + gained
    normal = np.triu(normal) + np.triu(normal, 1).T
    push = np.array([played[i : i + n] @ passed for i in range(count)])
    path = np.zeros(count)
    path[REACH] = push[REACH] / max(normal[REACH, REACH], 1e-30)  # a gain, and the rest where tones tell it
    path += np.linalg.pinv(normal, rcond=LEAST, hermitian=True) @ (push - normal @ path)
    return path[::-1]
