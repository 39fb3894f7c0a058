"""Volts: what full scale stands for, from voltmeter readings typed in by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity

DBU_VOLTS = math.sqrt(0.6)  # 0 dBu: 1 mW into 600 ohms
METER_DB = 0.1  # standard uncertainty of a hand-held meter at low audio frequencies, about 1 %
SLOPE_OFF, SCATTER_DB = 0.01, 0.3  # a slope or scatter beyond these is no calibration but a mistake


@dataclass(frozen=True)
class VoltsReading:
    """One reading: level of a steady tone in dBFS, and what the meter showed, in volts rms."""

    level_dbfs: float
    volts: float


@dataclass(frozen=True)
class VoltsCalibration:
    """What 0 dBFS stands for: the level of a full-scale sine, in dBu.

    `slope` is in dB on the meter per dB of level, 1 if all is well, and None with one level only; `warnings`
    tell what speaks against using it.
    """

    full_scale: Quantity
    slope: Quantity | None
    warnings: tuple[str, ...]

    def dbu(self, level: Quantity) -> Quantity:
        """Convert a level in dBFS to dBu; both intervals are carried."""
        value = level.value + self.full_scale.value
        reach = math.hypot(level.std, self.full_scale.std)
        return Quantity.from_std(value, reach, "dBu")


def calibrate_volts(readings: Sequence[VoltsReading]) -> VoltsCalibration:
    """Fit what full scale stands for to one or more meter readings.

    Parameters
    ----------
    readings : sequence of VoltsReading
        At least one; volts above 0. Two or more, 20 dB apart, also check the meter and the typing.

    Raises
    ------
    ValueError
        If there is no reading, or one of 0 V or less.

    Examples
    --------
    >>> found = calibrate_volts([VoltsReading(-20.0, 0.7746), VoltsReading(-40.0, 0.07746)])
    >>> round(found.full_scale.value, 2), found.warnings
    (20.0, ())
    """
    if not readings or any(not reading.volts > 0 for reading in readings):
        raise ValueError("a volts calibration needs at least one reading, each above 0 V")
    level = np.array([reading.level_dbfs for reading in readings])
    dbu = np.array([20 * math.log10(reading.volts / DBU_VOLTS) for reading in readings])
    offset = dbu - level
    value = float(offset.mean())
    scatter = float(np.sqrt(np.mean((offset - value) ** 2)))
    std = max(METER_DB, scatter) / math.sqrt(len(readings))
    slope = _slope(level, dbu)
    return VoltsCalibration(Quantity.from_std(value, std, "dBu"), slope, _warnings(slope, scatter))


def _slope(level: Array, dbu: Array) -> Quantity | None:
    centred = level - level.mean()
    spread = float(centred @ centred)
    if spread == 0:
        return None
    return Quantity.from_std(float(centred @ dbu) / spread, METER_DB / math.sqrt(spread), "dB/dB")


def _warnings(slope: Quantity | None, scatter_db: float) -> tuple[str, ...]:
    found = []
    if slope is None:
        found.append(
            "only one level was read: a wrong range or typing cannot be noticed; add a reading 20 dB away"
        )
    elif abs(slope.value - 1) > SLOPE_OFF and not slope.low <= 1 <= slope.high:
        found.append(
            f"the readings rise by {slope.value:.3f} dB per dB instead of 1: "
            "check range, frequency limit and typing"
        )
    if scatter_db > SCATTER_DB:
        found.append(
            f"the readings lie {scatter_db:.1f} dB off one line: check each for typing and for noise"
        )
    return tuple(found)
