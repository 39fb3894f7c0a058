"""The numbers of a gain cell turned into those of its sample loop, at one sampling rate."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from charprobe.replica.flat import BENDS, COLUMN
from charprobe.replica.parts import UNLIMITED_DB
from charprobe.values.arrays import Array, Index

# columns of a row of coefficients
(
    EXPONENT, SCALE, RISE, FALL, KEPT, ATTACK, RELEASE, HOLD, SLOW, SHARE, CHARGE, LINK, ATTACK_PACE,
    RELEASE_PACE, CUT_B0, CUT_B1, CUT_B2, CUT_A1, CUT_A2, SHELF_B0, SHELF_B1, SHELF_A, FLOOR,
    POWER, STRETCH, STRETCH_DB,
) = range(26)  # fmt: skip
BEND = 26  # threshold, slope, knee, most of each bend from here on
COEFFICIENTS = BEND + 4 * BENDS
MOST_PACE = 700.0  # of a store that follows at once
WIDEST = 0.2  # of the rate: a quarter leaves a half-band filter nothing to pass


def coefficients(rows: Array, codes: Index, *, rate_hz: float) -> Array:
    """Return the coefficients of k cells, shape (k, COEFFICIENTS), from rows of `flat.flatten`."""
    out = np.zeros((rows.shape[0], COEFFICIENTS))

    def column(name: str) -> Array:
        return rows[:, COLUMN[name]]

    exponent = column("detector.exponent")
    out[:, EXPONENT] = exponent
    mean = [math.gamma((p + 1) / 2) / (math.sqrt(math.pi) * math.gamma(p / 2 + 1)) for p in exponent]
    out[:, SCALE] = 1 / np.array(mean) if codes[0] == 1 else 1.0
    for target, name in (
        (RISE, "detector.rise_s"), (FALL, "detector.fall_s"), (ATTACK, "smoothing.attack_s"),
        (RELEASE, "smoothing.release_s"), (SLOW, "smoothing.slow_s"), (CHARGE, "smoothing.charge_s"),
    ):  # fmt: skip
        out[:, target] = np.exp(-_pace(column(name), rate_hz))
    out[:, KEPT] = np.round(column("detector.kept_s") * rate_hz)
    out[:, HOLD] = np.round(column("smoothing.hold_s") * rate_hz)
    out[:, SHARE], out[:, POWER] = column("smoothing.slow_share"), column("smoothing.power") * np.log(10) / 20
    out[:, STRETCH], out[:, STRETCH_DB] = column("smoothing.stretch"), column("smoothing.stretch_db")
    out[:, LINK], out[:, FLOOR] = column("link"), column("detector.floor_dbfs")
    out[:, ATTACK_PACE] = _pace(column("smoothing.attack_s"), rate_hz)
    out[:, RELEASE_PACE] = _pace(column("smoothing.release_s"), rate_hz)
    cut = column("detector.low_cut_hz"), column("detector.low_cut_q")
    out[:, CUT_B0 : CUT_A2 + 1] = _low_cut(*cut, rate_hz)
    out[:, SHELF_B0 : SHELF_A + 1] = _shelf(column("detector.shelf_hz"), column("detector.shelf_db"), rate_hz)
    for bend in range(BENDS):
        for place, key in enumerate(("threshold_dbfs", "slope", "knee_db", "most_db")):
            out[:, BEND + 4 * bend + place] = column(f"bends.{bend}.{key}")
        if codes[5] == 1:  # a loop may ask for far more than it ever comes to
            most = out[:, BEND + 4 * bend + 3]
            most[most >= UNLIMITED_DB] = np.inf
    return out


def _pace(time_s: Array, rate_hz: float) -> Array:
    """Sampling periods per time constant, the wrong way up; a time of 0 follows at once."""
    return np.minimum(1 / np.maximum(time_s * rate_hz, 1 / MOST_PACE), MOST_PACE)


def _warped(corner_hz: Array, rate_hz: float) -> Array:
    return np.tan(np.pi * np.minimum(corner_hz, 0.49 * rate_hz) / rate_hz)


def _low_cut(corner_hz: Array, q: Array, rate_hz: float) -> Array:
    """Bilinear low cut: b0, b1, b2, and a1, a2 taken off; of first order where q is 0; b0 1 is none."""
    k, two = _warped(corner_hz, rate_hz), q > 0
    damped, square = k / np.where(two, q, 1.0), np.where(two, k * k, 0.0)
    b0 = 1 / (1 + damped + square)
    b = np.where(two, [b0, -2 * b0, b0], [b0, -b0, np.zeros_like(b0)])
    a = np.where(
        two, [2 * (square - 1) * b0, (1 - damped + square) * b0], [(damped - 1) * b0, np.zeros_like(b0)]
    )
    return np.concatenate([b, a]).T


def _shelf(corner_hz: Array, gain_db: Array, rate_hz: float) -> Array:
    """Bilinear first-order treble shelf ``y = b0 x + b1 x' + a y'``."""
    k, root = _warped(corner_hz, rate_hz), 10 ** (gain_db / 40)
    there = corner_hz > 0
    k, root = np.where(there, k, 1.0), np.where(there, root, 1.0)
    bottom = k + 1 / root
    return np.stack([(k + root) / bottom, (k - root) / bottom, -(k - 1 / root) / bottom], axis=1)


@lru_cache(maxsize=64)
def quadrature_sections(rate_hz: float, split_hz: float) -> tuple[Array, Array]:
    """Squares c of two chains of sections ``(c - z**-2) / (1 - c z**-2)`` that keep 90 degrees apart.

    They do so from `split_hz` to half the rate less that. The second chain carries one sample of delay
    besides. A half-band filter of two all-pass chains, turned by a quarter of the rate; by the closed form
    of elliptic filters in theta functions.

    References
    ----------
    Valenzuela, Constantinides, "Digital signal processing schemes for efficient interpolation and
    decimation", IEE Proceedings 130 (1983).
    """
    low = min(split_hz / rate_hz, WIDEST)
    k = math.tan(math.pi / 4 * (1 - 4 * low)) ** 2  # selectivity of the half-band filter
    kk = math.sqrt(1 - k * k)
    e = 0.5 * (1 - math.sqrt(kk)) / (1 + math.sqrt(kk))
    q = e * (1 + e**4 * (2 + e**4 * (15 + 150 * e**4)))
    count = 13 + 2 * max(0, math.ceil(0.75 * math.log2(rate_hz / 48_000)))
    order = 2 * count + 1
    squares = []
    for i in range(1, count + 1):
        top = sum(
            (-1) ** j * q ** (j * (j + 1)) * math.sin((2 * j + 1) * i * math.pi / order) for j in range(12)
        )
        bottom = 0.5 + sum(
            (-1) ** j * q ** (j * j) * math.cos(2 * j * i * math.pi / order) for j in range(1, 12)
        )
        w2 = (q**0.25 * top / bottom) ** 2
        x = math.sqrt((1 - w2 * k) * (1 - w2 / k)) / (1 + w2)
        squares.append((1 - x) / (1 + x))
    return np.array(squares[0::2]), np.array(squares[1::2])
