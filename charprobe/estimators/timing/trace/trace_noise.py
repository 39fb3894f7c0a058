"""What of a gain trace is noise, and what turns with the carrier."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from charprobe.values.arrays import Array
from charprobe.values.phasor import phasor
from charprobe.values.quantity import DB_PER_NEPER

NOISE_POINTS = 4096
RIPPLE_PERIODS = 8, 32  # after the edge, between which the ripple is read


def point_noise(gain: Array, *, period: float) -> float:
    """Scatter of single points of the in-phase gain of one side of an edge, from its far end on.

    A trend, and what turns with the carrier or twice as fast at a changing rate, are no noise.
    """
    points = far_points(gain)
    basis = _no_noise(points.size, period)
    residual = points - basis @ (basis.T @ points)
    return float(np.sqrt(np.sum(residual**2) / max(1, points.size - basis.shape[1])))


@lru_cache(maxsize=16)  # traces of one recipe are of a few lengths
def _no_noise(count: int, period: float) -> Array:
    """Orthonormal columns of a trend and of what turns with the carrier, once or twice; not to be changed."""
    axis = np.linspace(-1, 1, count)
    columns = [axis**n for n in range(4)]
    if count > 4 * period:
        turn = 2 * np.pi / period * np.arange(count)
        columns += [axis**n * f(m * turn) for m in (1, 2) for n in (0, 1) for f in (np.cos, np.sin)]
    return np.asarray(np.linalg.qr(np.stack(columns, axis=1))[0])


@lru_cache(maxsize=16)
def _trend(count: int) -> Array:
    """Orthonormal columns of a cubic; not to be changed."""
    return np.asarray(np.linalg.qr(np.polynomial.legendre.legvander(np.linspace(-1, 1, count), 3))[0])


def far_points(gain: Array) -> Array:
    """The points of one side of an edge, from its far end on, that tell of noise and residue."""
    return gain[: min(NOISE_POINTS, max(16, gain.size // 2))]


def turning(gain: Array, *, period: float) -> float:
    """Amplitude of the part of the in-phase gain that turns once a period, where it is significant."""
    trend = _trend(gain.size)
    residual = gain - trend @ (trend.T @ gain)
    amplitude = 2 * float(abs(residual @ phasor(0.0, 1 / period, gain.size))) / gain.size
    chance = 5 * float(np.std(residual)) * math.sqrt(2 / gain.size)
    return amplitude if amplitude > chance else 0.0


def ripple_db(gain: Array, *, period: float) -> float:
    """Ripple at twice the carrier after an edge, over periods from where points are calm on."""
    points = gain[slice(*(math.ceil(n * period) for n in RIPPLE_PERIODS))]
    if points.size < 4 * period:
        return 0.0
    mean = float(np.mean(points))
    return DB_PER_NEPER * turning(points, period=period / 2) / mean if mean > 0 else 0.0
