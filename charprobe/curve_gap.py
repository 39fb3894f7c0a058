"""How far apart two curves lie: static curves, as they are and laid over each other, response, distortion."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from charprobe.chapter import Table
from charprobe.equivalence import Estimate, Gap, Verdict, gap
from charprobe.estimators.harmonics import DETECTED
from charprobe.margins import Margin
from charprobe.subjects import Subject

Array = NDArray[np.float64]
Points = Sequence[tuple[float, float, float]]

LOW_SPAN_DB = 9.0  # the lowest part of a static curve that anchors it: three steps of the shipped recipes
SAME_LEVEL_DB = 0.05  # points closer than this are one step; recipes step by 0.1 dB at least
SAME_TOP_DB = 3.1  # static curves end at one level if they do within a step of the shipped recipes
SAME_OCTAVES = 0.01  # frequencies closer than this are one; tables have ten to twelve an octave
SAME_END_OCTAVES = 0.34  # responses end at one frequency if they do within a third of an octave
MIDDLE_HZ = 1000.0
FROM_HZ, TO_HZ = 20.0, 20_000.0
CLEAR_DB = 26.0  # over the detection limit of the table: 0.1 dB of standard uncertainty
DB = 20 / math.log(10)
FEWEST = 4  # points that two curves must share to be compared


@dataclass(frozen=True)
class Curve:
    """A quantity in dB over an axis, averaged over repeats, by rising place.

    Attributes
    ----------
    place : ndarray, shape (n,)
        Input level in dBFS, or frequency in octaves re 1 kHz.
    value_db, std_db : ndarray, shape (n,)
        The quantity and its standard uncertainty.
    same_end : float
        Two curves end at one place if they do within this.
    """

    place: Array
    value_db: Array
    std_db: Array
    same_end: float

    def anchored(self) -> Curve:
        """Return the curve shifted so that its mean over the lowest `LOW_SPAN_DB` is zero."""
        low = self.place <= self.place[0] + LOW_SPAN_DB
        return replace(self, value_db=self.value_db - self.value_db[low].mean())


def static_curve_of(subject: Subject) -> Curve | None:
    """Average settled, used points over directions and repeats; None if no repeat has `FEWEST` of them."""
    return _averaged(subject, "static", _settled, same=SAME_LEVEL_DB, same_end=SAME_TOP_DB)


def response_of(subject: Subject) -> Curve | None:
    """Average the response at the lowest drive over repeats, less its value at 1 kHz; None without one."""
    return _averaged(subject, "response", _response, same=SAME_OCTAVES, same_end=SAME_END_OCTAVES)


def distortion_of(subject: Subject) -> Curve | None:
    """Average THD near 1 kHz against input level over repeats; None without `FEWEST` levels that show any."""
    return _averaged(subject, "harmonics", _distortion, same=SAME_LEVEL_DB, same_end=SAME_TOP_DB)


def _averaged(
    subject: Subject, name: str, points_of: Callable[[Table], Points], *, same: float, same_end: float
) -> Curve | None:
    tables = [profile.curves[name] for profile in subject.repeats if name in profile.curves]
    rows = np.array(sorted(row for table in tables for row in points_of(table))).reshape(-1, 3)
    points = np.split(rows, 1 + np.flatnonzero(np.diff(rows[:, 0]) > same))
    if len(points) < FEWEST:
        return None
    return Curve(
        place=np.array([point[:, 0].mean() for point in points]),
        value_db=np.array([point[:, 1].mean() for point in points]),
        std_db=np.array([_std_of_mean(point) for point in points]),
        same_end=same_end,
    )


def _std_of_mean(point: Array) -> float:
    """Standard uncertainty of the mean: what the points state, or what their scatter shows if larger."""
    count = len(point)
    stated = float(np.sqrt((point[:, 2] ** 2).sum())) / count
    shown = float(point[:, 1].std(ddof=1)) / math.sqrt(count) if count > 1 else 0.0
    return max(stated, shown)


def curve_gap(first: Curve, second: Curve, *, margin: Margin, tests: int) -> Gap | None:
    """Compare two curves point by point where both have been measured; None without enough shared range.

    The result is the largest difference, second less first, with its own interval. "same" needs every point
    shown inside the margin, and both curves to end at one place; "different" needs one shown outside, its
    risk shared among the points.
    """
    low = max(first.place[0], second.place[0])
    high = min(first.place[-1], second.place[-1])
    inside = (first.place >= low - 1e-6) & (first.place <= high + 1e-6)
    if inside.sum() < FEWEST:
        return None
    place = first.place[inside]
    sides = [
        [
            Estimate(float(value), float(std))
            for value, std in zip(
                np.interp(place, curve.place, curve.value_db),
                np.interp(place, curve.place, curve.std_db),
                strict=True,
            )
        ]
        for curve in (first, second)
    ]
    loose = [gap(a, b, margin=margin.size, tests=tests) for a, b in zip(*sides, strict=True)]
    strict = [gap(a, b, margin=margin.size, tests=tests * len(place)) for a, b in zip(*sides, strict=True)]
    worst = max(loose, key=lambda item: abs(item.value))
    verdict: Verdict = "cannot tell"
    whole = abs(first.place[-1] - second.place[-1]) <= first.same_end
    if whole and all(item.verdict == "same" for item in loose):
        verdict = "same"
    elif any(item.verdict == "different" for item in strict):
        verdict = "different"
    return Gap(worst.value, worst.low, worst.high, verdict)


def _settled(table: Table) -> Points:
    columns = table.columns
    used = columns.get("used", [True] * len(columns["input_dbfs"]))
    rows = zip(columns["input_dbfs"], columns["gain_db"], columns["std_db"], used, strict=True)
    return [
        (float(level), float(gain), float(std or 0.0))
        for level, gain, std, keep in rows
        if keep and level is not None and gain is not None
    ]


def _response(table: Table) -> Points:
    columns = table.columns
    stds = columns.get("magnitude_std_db", [0.0] * len(columns["frequency_hz"]))
    rows = [
        (math.log2(float(hz) / MIDDLE_HZ), float(db), float(std or 0.0), float(drive or 0.0))
        for hz, db, std, drive in zip(
            columns["frequency_hz"], columns["magnitude_db"], stds, columns["drive_dbfs"], strict=True
        )
        if hz is not None and db is not None and FROM_HZ <= float(hz) <= TO_HZ
    ]
    lowest = min((row[3] for row in rows), default=0.0)
    rows = sorted(row for row in rows if row[3] == lowest)
    if not rows or not rows[0][0] <= 0.0 <= rows[-1][0]:
        return []
    middle = float(np.interp(0.0, [row[0] for row in rows], [row[1] for row in rows]))
    return [(place, value - middle, std) for place, value, std, _ in rows]


def _distortion(table: Table) -> Points:
    """THD of the tone nearest 1 kHz where it stands clear of the detection limit and of the bypass's."""
    columns = table.columns
    names = ("frequency_hz", "input_dbfs", "thd_dbc", "limit_dbc")
    near = columns.get("near_bypass", [""] * len(columns["input_dbfs"]))
    rows = [
        tuple(float(cell) for cell in row if cell is not None)
        for row, rig in zip(zip(*(columns[name] for name in names), strict=True), near, strict=True)
        if not rig and None not in row
    ]
    if not rows:
        return []
    chosen = min((row[0] for row in rows), key=lambda hz: abs(math.log(hz / MIDDLE_HZ)))
    return [
        (level, thd, DB * 10 ** ((limit - thd) / 20) / DETECTED)
        for hz, level, thd, limit in rows
        if hz == chosen and thd > limit + CLEAR_DB
    ]
