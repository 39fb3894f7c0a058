"""Filters of first order, sample by sample, from rest, in place: fresh memory costs more than filtering."""

from __future__ import annotations

import math

import numpy as np

from charprobe.values.arrays import Array
from charprobe.values.compiled import compiled_in_place


def low_cut(values: Array, *, corner_hz: float, rate_hz: float) -> Array:
    """First-order low cut, -3.01 dB at the corner (bilinear, so meant for corners far below the rate)."""
    warped = math.tan(math.pi * corner_hz / rate_hz)
    gain = 1 / (1 + warped)
    _filter(values, gain, -gain, (warped - 1) * gain)
    return values


def low_cut_gain_db(frequency_hz: float, *, corner_hz: float) -> float:
    """Gain of `low_cut` at a frequency far below the rate."""
    return -10 * math.log10(1 + (corner_hz / frequency_hz) ** 2)


def coefficient(time_s: float, rate_hz: float) -> float:
    """Pole of a one-pole smoother with time constant `time_s` (1 - 1/e of a step); 0 s is no smoothing."""
    return float(np.exp(-1 / (time_s * rate_hz))) if time_s > 0 else 0.0


def one_pole(values: Array, *, time_s: float, rate_hz: float) -> Array:
    """Smooth with one pole of unit gain at DC; shape (n,)."""
    pole = coefficient(time_s, rate_hz)
    if pole > 0:
        _filter(values, 1 - pole, 0.0, -pole)
    return values


@compiled_in_place
def _filter(values: Array, now: float, before: float, back: float) -> None:
    kept = 0.0
    for n in range(values.size):
        out = now * values[n] + kept
        kept = before * values[n] - back * out
        values[n] = out
