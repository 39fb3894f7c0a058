"""Filters of the held-out stages, as plain difference equations run by scipy."""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter

from tests.benchmarks.zoo.stage import Array


def low_part(sound: Array, corner_hz: float, rate_hz: int) -> Array:
    """One-pole low-pass; sound less this is its high part."""
    part = 1 - np.exp(-2 * np.pi * corner_hz / rate_hz)
    return np.asarray(lfilter([part], [1, part - 1], sound))


def high_part(sound: Array, corner_hz: float, rate_hz: int) -> Array:
    """One-pole high-pass that takes away all of a constant."""
    stay = np.exp(-2 * np.pi * corner_hz / rate_hz)
    half = (1 + stay) / 2
    return np.asarray(lfilter([half, -half], [1, -stay], sound))


def bell(sound: Array, centre_hz: float, gain_db: float, width: float, rate_hz: int) -> Array:
    """A bell by the bilinear transform, `width` its quality."""
    turn, height = 2 * np.pi * centre_hz / rate_hz, 10 ** (gain_db / 40)
    side = np.sin(turn) / (2 * width)
    top = [1 + side * height, -2 * np.cos(turn), 1 - side * height]
    bottom = [1 + side / height, -2 * np.cos(turn), 1 - side / height]
    return np.asarray(lfilter(np.divide(top, bottom[0]), np.divide(bottom, bottom[0]), sound))


def high_shelf(sound: Array, corner_hz: float, gain_db: float, rate_hz: int) -> Array:
    """First-order shelf: flat below, `gain_db` above, half of it in dB at the corner."""
    warp, lift = np.tan(np.pi * corner_hz / rate_hz), 10 ** (gain_db / 40)
    top = [lift * lift + warp * lift, warp * lift - lift * lift]
    bottom = [1 + warp * lift, warp * lift - 1]
    return np.asarray(lfilter(np.divide(top, bottom[0]), np.divide(bottom, bottom[0]), sound))
