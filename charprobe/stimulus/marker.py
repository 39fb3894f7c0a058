"""The sync markers: two wideband chirps in closed form, exact at any rate and any fractional position.

The opening marker rises once; the closing one falls fast and then rises. All their sweep rates, forwards and
backwards, differ from one another, so a file played backwards shows neither marker in place of the other.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from charprobe.values.arrays import Array

Marker = Literal["opening", "closing"]

SYNC_S = 0.25
LOW_HZ, HIGH_HZ = 200.0, 15_000.0
TAPER_S = 0.0125
FALL_SHARE = 0.3  # part of the closing marker that falls; the rest rises


def sync_length(rate_hz: float) -> int:
    """Length of a rendered marker in samples."""
    return round(SYNC_S * rate_hz)


def sync_value(marker: Marker, position: ArrayLike, *, rate_hz: float) -> Array:
    """Value of a marker of amplitude 1 at any positions.

    Parameters
    ----------
    marker : "opening" or "closing"
        Which of the two chirps.
    position : array_like
        Positions in samples from the first sample of the marker; may be fractional. 0 outside the marker.
    rate_hz : float > 0
        Sampling rate of the positions.

    Returns
    -------
    ndarray, shape of `position`
        Values between -1 and 1.

    Examples
    --------
    >>> late = sync_value("opening", np.arange(5) + 600.25, rate_hz=48_000)  # a quarter of a sample later
    >>> late.round(3).tolist()
    [0.729, 0.807, 0.874, 0.927, 0.966]
    """
    time_s = np.asarray(position, dtype=np.float64) / rate_hz
    edge = np.clip(np.minimum(time_s, SYNC_S - time_s) / TAPER_S, 0.0, 1.0)
    cycles = _rise(time_s, SYNC_S) if marker == "opening" else _fall_and_rise(time_s)
    return np.asarray(np.sin(np.pi / 2 * edge) ** 2 * np.sin(2 * np.pi * cycles))


def render_sync(marker: Marker, *, rate_hz: float, level_dbfs: float) -> Array:
    """Render a marker at a peak level; shape ``(sync_length(rate_hz),)``, full scale = 1."""
    amplitude = 10 ** (level_dbfs / 20)
    return amplitude * sync_value(marker, np.arange(sync_length(rate_hz)), rate_hz=rate_hz)


def _rise(time_s: Array, length_s: float) -> Array:
    """Cycles since the start of a linear rise from `LOW_HZ` to `HIGH_HZ` over `length_s`."""
    return LOW_HZ * time_s + (HIGH_HZ - LOW_HZ) / (2 * length_s) * time_s**2


def _fall_and_rise(time_s: Array) -> Array:
    """Cycles from the turning point of a linear fall followed by a linear rise."""
    turn_s = FALL_SHARE * SYNC_S
    since_s = time_s - turn_s
    return np.where(since_s < 0, -_rise(-since_s, turn_s), _rise(since_s, SYNC_S - turn_s))
