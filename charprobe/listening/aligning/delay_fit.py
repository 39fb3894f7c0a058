"""Delay of one window of a processed file below a sample, whatever gain and filters do meanwhile."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from charprobe.files.sound.frames import Frames, read_padded
from charprobe.listening.aligning.filtering import low_pass, through
from charprobe.listening.aligning.warp import Between
from charprobe.values.arrays import Array

GAIN_S = 0.005  # the gain counts as constant over this long
POLES_HZ = (60.0, 300.0, 1500.0, 6000.0)  # of low-passes: their mixture comes close to any gentle filter
LEAD_S = 0.02  # in which they settle
SETTLED = 1e-4  # frames: each round leaves a fifteenth of the last move, so places are good to 1e-5
ROUNDS = 10
ROUNDING = 1e-17
ALIKE = 1e-9  # share below which two directions of the fit count as one


@cache
def _band() -> Array:
    """What both takes are sent through: treble tells time best."""
    return np.convolve(low_pass(63, cut=0.8), [1.0, -1.96, 0.9604])


@dataclass(frozen=True)
class Guide:
    """The two files and which dry channel each processed channel is compared with."""

    dry: Frames
    processed: Frames
    dry_channels: tuple[int, ...]


@dataclass(frozen=True)
class Point:
    """Delay at one dry position, both in frames, with its standard uncertainty.

    `unexplained` is the share of the window's power that no gain and no delay explain.
    """

    position: float
    delay: float
    std: float
    unexplained: float


def fit_delay(guide: Guide, *, start: int, size: int, delay: float, step: float, response: Array) -> Point:
    """Refine the delay of one window below a sample.

    Parameters
    ----------
    guide : Guide
        The two files.
    start, size : int
        The window, in dry frames.
    delay : float
        Delay to start from, good to a sample.
    step : float
        Dry frames per processed frame within the window.
    response : ndarray, shape (m, processed channels)
        Impulse response the dry sound is sent through first; ones of shape (1, channels) for none.

    Notes
    -----
    Least squares of ``y(t) - (g + h t) (x + c1 l1 * x + ...) (t - d)`` with g and h free in each 5 ms,
    eliminated in closed form, one delay d and one weight for each of a few first-order low-passes: neither a
    gain that moves, as a compressor's does, nor a low cut or shelf pulls the delay. Gauss-Newton over d, on
    the band below 0.8 of half the sampling rate. The delay belongs to the position where its information is
    centred.
    """
    rate_hz = guide.dry.rate_hz
    stretch = max(32, round(GAIN_S * rate_hz))
    count = size // stretch * stretch
    shape = (count // stretch, stretch, guide.processed.channels)
    at = start + round(delay)
    edge, lead = _band().size - 1, round(LEAD_S * rate_hz)
    wide = read_padded(guide.processed, at - edge, at + count)
    y = through(wide, _band()[:, None]).reshape(shape)
    kernel = through(np.pad(response, ((edge, edge), (0, 0))), _band()[:, None])
    middle = centre = start + size / 2
    std, unexplained = np.inf, 1.0
    # what both are sent through delays each by as many of its own frames
    origin = middle + (at - delay - middle - lead) * step + (1 - step) * edge / 2
    dry = Between(
        guide.dry,
        first=origin,
        step=step,
        count=count + lead,
        slack=ROUNDS,
        channels=guide.dry_channels,
        response=kernel,
    )
    started = delay
    for _ in range(ROUNDS):
        offset = (started - delay) * step
        longer, slope = dry.at(offset), dry.slope(offset)[lead:]
        x = longer[lead:].reshape(shape)
        moving = _Moving(x, y)
        directions = [moving.freed(slope.reshape(shape))]
        for pole_hz in POLES_HZ:
            directions.append(moving.freed(_low_passed(longer, pole_hz, rate_hz)[lead:].reshape(shape)))
        information = np.sum(directions[0] ** 2, axis=(1, 2))
        total = float(information.sum())
        if total <= 0:
            break
        solution, variance = _solved(directions, y)
        left = moving.left - sum(share * one for share, one in zip(solution[1:], directions[1:], strict=True))
        std = float(np.sqrt(np.mean(left**2) * variance))
        unexplained = float(np.mean(moving.left**2)) / (float(np.mean(y**2)) + 1e-30)
        centre = start + stretch * float((np.arange(shape[0]) + 0.5) @ information / total)
        move = -solution[0]
        delay += float(np.clip(move, -0.7, 0.7))
        if abs(move) < SETTLED:
            break
    return Point(centre, delay + (centre - middle) * (1 / step - 1), std, unexplained)


class _Moving:
    """Dry sound whose gain is free, and free to slope, in each stretch; shape (stretches, n, channels)."""

    def __init__(self, x: Array, y: Array) -> None:
        self._x, self._power = x, np.sum(x * x, axis=1, keepdims=True) + 1e-30
        self._gain = np.sum(x * y, axis=1, keepdims=True) / self._power
        tilted = np.linspace(-1, 1, x.shape[1])[None, :, None] * x
        self._tilted = tilted - x * (np.sum(x * tilted, axis=1, keepdims=True) / self._power)
        self._tilted_power = np.sum(self._tilted**2, axis=1, keepdims=True) + 1e-30
        self.left = y - self._gain * x

    def freed(self, direction: Array) -> Array:
        """What a change along a direction makes of the sound, less what gain and slope could make up for."""
        free = direction - self._x * (np.sum(self._x * direction, axis=1, keepdims=True) / self._power)
        free -= self._tilted * (np.sum(self._tilted * free, axis=1, keepdims=True) / self._tilted_power)
        return np.asarray(self._gain * free)


def _low_passed(sound: Array, pole_hz: float, rate_hz: int) -> Array:
    kept, reach = math.exp(-2 * math.pi * pole_hz / rate_hz), 1
    out = (1 - kept) * sound
    while kept > ROUNDING:  # each round remembers twice as much
        out[reach:] += kept * out[:-reach]
        kept, reach = kept**2, 2 * reach
    return out


def _solved(directions: list[Array], y: Array) -> tuple[Array, float]:
    """Least squares over all directions; also the variance of the first for unit noise."""
    matrix = np.array([direction.ravel() for direction in directions])
    normal = matrix @ matrix.T
    scale = np.sqrt(np.diag(normal)) + 1e-300
    inverse = np.linalg.pinv(normal / np.outer(scale, scale), rcond=ALIKE) / np.outer(scale, scale)
    return np.asarray(inverse @ (matrix @ y.ravel())), float(inverse[0, 0])
