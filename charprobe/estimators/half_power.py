"""Where a magnitude response crosses half of its power at 1 kHz."""

from __future__ import annotations

import math
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
    crossing, hidden = _crossing(log_f, 10 ** (drop / 20), i)
    slope = float((drop[i] - drop[i - 1]) / (log_f[i] - log_f[i - 1]))
    reach = Z95 * math.hypot(math.hypot(float(std[i]), reference_std) / slope, hidden)
    return Quantity(math.exp(crossing), math.exp(crossing - reach), math.exp(crossing + reach), "Hz")


def _crossing(log_f: Array, share: Array, i: int) -> tuple[float, float]:
    """Crossing of half power between points i-1 and i, and what may hide between them.

    It lies where the parabolas through a third point on either side cross, on average. How far they and the
    chord lie apart is doubt, twice so where the response ends behind the crossing.
    """
    middle = (log_f[i - 1] + log_f[i]) / 2

    def met(first: int, stop: int) -> float:
        curve: np.polynomial.Polynomial = np.polynomial.Polynomial.fit(
            log_f[first:stop], share[first:stop] - math.sqrt(0.5), stop - first - 1
        )
        return float(min(curve.roots().real, key=lambda root: abs(root - middle)))

    inner, chord = met(max(i - 2, 0), i + 1), met(i - 1, i + 1)
    outer = met(i - 1, i + 2) if i + 1 < log_f.size else inner
    apart = max(inner, outer, chord) - min(inner, outer, chord)
    return (inner + outer) / 2, apart / 2 if i + 1 < log_f.size else apart
