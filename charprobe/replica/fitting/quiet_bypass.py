"""The bypass without noise that the stage never heard: the known stimulus as the bypass path passes it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.ndimage import uniform_filter1d
from scipy.signal import butter, oaconvolve, sosfiltfilt

from charprobe.replica.fitting.pair import Noise, Pair, Sides
from charprobe.stimulus.render import render_between
from charprobe.values.arrays import Array

REACH = 8  # taps of the path on each side of a sample
SLOW_HZ = 60.0  # what the path adds below it is kept: AC coupling rings on down there
RINGING, RINGING_S = 4.0, 0.1  # where it has so many times the power of noise, over that long
LIKE_NOISE = 1.25  # times the noise of the bypass: more left is a path of another kind, and the bypass stays
PIECE_S, MOST = 0.01, 0.9  # of so many pieces that long: hard onsets ring in converters, behind the stage
LEAST = 1e-10  # of the greatest: directions in which a few tones do not tell the path
# at half the rate: what lies there is lost in converters and between samples, behind the stage that heard it
TOP = np.array([1.0, -8.0, 28.0, -56.0, 70.0, -56.0, 28.0, -8.0, 1.0]) / 256


def read_quiet(pair: Pair, start: float, stop: float, *, noise: Noise) -> Sides:
    """Read both sides between two stimulus positions, the bypass with as much noise as the stage heard.

    Notes
    -----
    A store that rises faster than it falls takes the crests of noise for level: a model that hears noise
    which the stage did not hear finds every threshold too high (by 0.007 dB where it lies 58 dB above the
    noise, many times its interval). The path is fitted as `REACH` taps to each side; where what is left is
    more than noise, but for onsets, the bypass stays as it was captured. At half the rate it gets what the
    path lost: a long release holds what the highest peak of an onset asked for.
    """
    sides = pair.read(start, stop)
    if sides.dry.size < 512 * REACH:
        return sides
    around = REACH + TOP.size // 2
    first = int(np.ceil(start)) - around
    sounding = render_between(pair.wet.stimulus, first, first + sides.dry.size + 2 * around)
    played = sounding[TOP.size // 2 : -(TOP.size // 2)]
    path = _path(played, sides.dry)
    passed = oaconvolve(played, path, mode="valid")
    left = sides.dry - passed
    slow = sosfiltfilt(butter(2, SLOW_HZ, fs=pair.rate_hz, output="sos"), left)
    power = uniform_filter1d(slow**2, round(RINGING_S * pair.rate_hz))
    slow *= power > RINGING * 2 * SLOW_HZ / pair.rate_hz * noise.dry**2
    left = left - slow
    size = round(PIECE_S * pair.rate_hz)
    pieces = np.sqrt(np.mean(left[: left.size // size * size].reshape(-1, size) ** 2, axis=1))
    if float(np.quantile(pieces, MOST)) > LIKE_NOISE * noise.dry:
        return sides
    gain = np.zeros(path.size)
    gain[REACH] = (played[REACH:-REACH] @ passed) / max(float(np.sum(played[REACH:-REACH] ** 2)), 1e-30)
    lost = oaconvolve(sounding, np.convolve(gain - path, TOP), mode="valid")
    return replace(sides, dry=passed + lost + slow + np.sqrt(noise.heard) * left)


def _path(played: Array, passed: Array) -> Array:
    """Taps, shape (2 * REACH + 1,), with which what was played comes nearest to what passed the bypass."""
    rows = sliding_window_view(played, passed.size)
    normal = np.array([[row @ one for row in rows] for one in rows])
    push = np.array([row @ passed for row in rows])
    path = np.zeros(2 * REACH + 1)
    path[REACH] = push[REACH] / max(normal[REACH, REACH], 1e-30)  # a gain, and the rest where tones tell it
    path += np.linalg.pinv(normal, rcond=LEAST, hermitian=True) @ (push - normal @ path)
    return path[::-1]
