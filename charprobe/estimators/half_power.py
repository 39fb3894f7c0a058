"""Where a magnitude response crosses half of its power at 1 kHz."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal

import numpy as np

from charprobe.values.arrays import Array
from charprobe.values.quantity import Z95, Quantity, Reading, Unmeasured

HALF_POWER_DB = 10 * math.log10(2)
REFERENCE_HZ = 1000.0

Side = Literal["low", "high"]


def half_power_corner(frequency_hz: Array, magnitude_db: Array, std_db: Array, *, side: Side) -> Reading:
    """Find the outermost crossing of -3 dB re 1 kHz, by interpolation over log frequency.

    A dip that the response comes back from is no end of the band.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Ascending frequencies in Hz, spanning 1 kHz.
    magnitude_db, std_db : ndarray, shape (n,)
        Magnitude and its standard uncertainty.
    side : {"low", "high"}
        End of the band; where it falls by less than 3 dB, the corner is a bound at the last frequency.
    """
    log_f = np.log(frequency_hz)
    reference = float(np.interp(math.log(REFERENCE_HZ), log_f, magnitude_db))
    reference_std = float(np.interp(math.log(REFERENCE_HZ), log_f, std_db))
    outward = frequency_hz <= REFERENCE_HZ if side == "low" else frequency_hz >= REFERENCE_HZ
    log_f, drop, std = log_f[outward], magnitude_db[outward] - reference, std_db[outward]
    if side == "low":
        log_f, drop, std = log_f[::-1], drop[::-1], std[::-1]
    inside = np.flatnonzero(drop >= -HALF_POWER_DB)
    edge = round(float(math.exp(log_f[-1])), 3)
    if inside.size and inside[-1] == drop.size - 1:
        where = f"down to {edge:.3g} Hz" if side == "low" else f"up to {edge:.5g} Hz"
        reason = f"the response falls by less than 3 dB {where}"
        if drop.min() < -HALF_POWER_DB:
            reason = f"the response dips by 3 dB and comes back {where}"
        wider = "a sweep over a wider range, at a higher sampling rate for the top"
        if side == "low":
            return Unmeasured("Hz", reason, wider, at_most=edge)
        return Unmeasured("Hz", reason, wider, at_least=edge)
    i = int(inside[-1]) + 1 if inside.size else 1
    slope = float((drop[i] - drop[i - 1]) / (log_f[i] - log_f[i - 1]))
    crossing = _curved_crossing(log_f, drop, i)
    log_std = math.hypot(float(std[i]), reference_std) / abs(slope)
    reach = Z95 * log_std
    return Quantity(math.exp(crossing), math.exp(crossing - reach), math.exp(crossing + reach), "Hz")


def _curved_crossing(log_f: Array, drop: Array, i: int) -> float:
    """Solve for the crossing between points i-1 and i with a parabola through a third point."""
    j = np.array([i - 1, i, min(i + 1, log_f.size - 1) if i + 1 < log_f.size else i - 2])
    if len(set(j.tolist())) < 3 or j.min() < 0:
        return float(np.interp(HALF_POWER_DB, -drop[[i - 1, i]], log_f[[i - 1, i]]))
    inverse: Callable[[float], Array] = np.polynomial.Polynomial.fit(drop[j], log_f[j], 2)
    return float(inverse(-HALF_POWER_DB))
