"""Curves over level and frequency that are compared as a whole, from the profiles of a subject."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Literal

import numpy as np

from charprobe.comparing.curve import ComparedCurve, averaged
from charprobe.comparing.subjects import Subject
from charprobe.profile.entry import Table, flags, numbers
from charprobe.values.arrays import Array
from charprobe.values.quantity import DB_PER_NEPER, ORDER_SEEN

WhichTone = Literal["nearest 1 kHz", "lowest", "highest"]

SAME_LEVEL_DB = 0.05  # points closer than this are one step; recipes step by 0.1 dB at least
SAME_TOP_DB = 3.1  # static curves end at one level if they do within a step of the shipped recipes
SAME_OCTAVES = 0.01  # frequencies closer than this are one; tables have ten to twelve an octave
SAME_END_OCTAVES = 0.34  # responses end at one frequency if they do within a third of an octave
MIDDLE_HZ = 1000.0
FROM_HZ, TO_HZ = 20.0, 20_000.0
LOWEST_OCTAVE = -3  # re 1 kHz; noise below it is one band, for a short silence tells little of a narrow one
HIGHEST = 10  # order that counts to THD, if it lies in the band
CLEAR_DB = 26.0  # over the detection limit of the table: 0.1 dB of standard uncertainty


def static_curve_of(subject: Subject) -> ComparedCurve | None:
    """Average settled, used points over directions and repeats; None if no repeat has enough of them."""
    curve = averaged(subject, "static", _settled, same=SAME_LEVEL_DB, same_end=SAME_TOP_DB)
    if curve is None:
        return None
    tables = [profile.curves["static"] for profile in subject.repeats if "static" in profile.curves]
    top = max((level for table in tables for level in _unsaturated(table)), default=curve.place[-1])
    return replace(curve, open_end=top > curve.place[-1] + SAME_TOP_DB)


def anchored_curve_of(subject: Subject) -> ComparedCurve | None:
    """Return the static curve, told but for its low-level gain; None as in `static_curve_of`."""
    curve = static_curve_of(subject)
    return None if curve is None else replace(curve, anchored=True)


def response_of(subject: Subject) -> ComparedCurve | None:
    """Average the response at the lowest drive over repeats, less its value at 1 kHz; None without one."""
    return averaged(subject, "response", _response, same=SAME_OCTAVES, same_end=SAME_END_OCTAVES)


def distortion_of(subject: Subject, tone: WhichTone) -> ComparedCurve | None:
    """Average THD of one tone against input level over repeats; None without enough levels that show any.

    The lowest and the highest tone are curves of their own only where they are not the one nearest 1 kHz.
    """
    tones = [hz for p in subject.repeats if "harmonics" in p.curves for hz in tones_of(p.curves["harmonics"])]
    if not tones:
        return None
    middle = middle_tone(tones)
    chosen = {"nearest 1 kHz": middle, "lowest": min(tones), "highest": max(tones)}[tone]
    if tone != "nearest 1 kHz" and chosen == middle:
        return None
    curve = averaged(
        subject, "harmonics", partial(_distortion, hz=chosen), same=SAME_LEVEL_DB, same_end=SAME_TOP_DB
    )
    reach = {min(HIGHEST, int(p.capture.rate_hz / 2 / chosen)) for p in subject.repeats}
    return None if curve is None else replace(curve, conditions=(chosen, min(reach), max(reach)))


def middle_tone(tones: Sequence[float]) -> float:
    """The tone nearest 1 kHz, which stands for the others."""
    return min(tones, key=lambda hz: abs(math.log(hz / MIDDLE_HZ)))


def tones_of(table: Table) -> list[float]:
    """Frequencies in Hz of a table of harmonics, rising."""
    return sorted({float(hz) for hz in table.columns["frequency_hz"] if hz is not None})


def noise_spectrum_of(subject: Subject) -> ComparedCurve | None:
    """Average noise levels in octaves over repeats, mains lines left out; None without a spectrum."""
    return averaged(subject, "noise_spectrum", _noise, same=SAME_OCTAVES, same_end=SAME_END_OCTAVES)


def _unsaturated(table: Table) -> Array:
    """Levels played, but for those where saturation flattens what compresses no further."""
    level = numbers(table, "input_dbfs")
    return np.asarray(level[np.isfinite(level) & ~flags(table, "saturated", missing=False)])


def _settled(table: Table) -> Array:
    level, gain, std = (numbers(table, name) for name in ("input_dbfs", "gain_db", "std_db"))
    kept = flags(table, "used", missing=True) & np.isfinite(level) & np.isfinite(gain)
    return np.stack([level, gain, np.nan_to_num(std)], axis=1)[kept]


def _response(table: Table) -> Array:
    hz, level, std, drive = (
        numbers(table, name) for name in ("frequency_hz", "magnitude_db", "magnitude_std_db", "drive_dbfs")
    )
    inside = (hz >= FROM_HZ) & (hz <= TO_HZ) & np.isfinite(level)
    lowest = np.flatnonzero(inside & (drive == drive[inside].min(initial=np.inf)))
    lowest = lowest[np.argsort(hz[lowest], kind="stable")]
    place, level = np.log2(hz[lowest] / MIDDLE_HZ), level[lowest]
    if not place.size or not place[0] <= 0.0 <= place[-1]:
        return np.zeros((0, 3))
    return np.stack([place, level - np.interp(0.0, place, level), np.nan_to_num(std[lowest])], axis=1)


def _distortion(table: Table, *, hz: float) -> Array:
    """THD of one tone where it stands clear of the detection limit and of the bypass's."""
    tone, level, thd, limit, std = (
        numbers(table, name) for name in ("frequency_hz", "input_dbfs", "thd_dbc", "limit_dbc", "thd_std_db")
    )
    clear = (tone == hz) & (thd > limit + CLEAR_DB) & ~flags(table, "near_bypass", missing=False)
    std = np.fmax(
        std, DB_PER_NEPER * 10 ** ((limit - thd) / 20) / ORDER_SEEN
    )  # what was seen, if no doubt is told
    return np.asarray(np.stack([level, thd, std], axis=1)[clear & np.isfinite(level)])


def _noise(table: Table) -> Array:
    """Level of each octave from its third octaves; everything below the octave of 125 Hz is one band."""
    if "density_std_db" not in table.columns:
        return np.zeros((0, 3))
    hz, density_db, std_db = (
        numbers(table, name) for name in ("frequency_hz", "density_dbfs_per_hz", "density_std_db")
    )
    power = 10 ** (density_db / 10) * hz  # third octaves are as wide as their middle is high
    octave = np.maximum(np.round(np.log2(hz / MIDDLE_HZ)), LOWEST_OCTAVE - 1)
    bands = [_band(float(one), power[octave == one], std_db[octave == one]) for one in np.unique(octave)]
    return np.array(bands).reshape(-1, 3)


def _band(octave: float, power: Array, std_db: Array) -> tuple[float, float, float]:
    total = float(power.sum())
    return octave, 10 * math.log10(total), float(np.sqrt(((power * std_db) ** 2).sum())) / total
