"""How far apart two static curves lie, as they are and laid over each other at low level."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from charprobe.chapter import Table
from charprobe.equivalence import Estimate, Gap, Verdict, gap
from charprobe.margins import STATIC_CURVE
from charprobe.subjects import Subject

Array = NDArray[np.float64]
LOW_SPAN_DB = 9.0  # the lowest part of a curve that anchors it: three steps of the shipped recipes
SAME_LEVEL_DB = 0.05  # points closer than this are one step; recipes step by 0.1 dB at least
SAME_TOP_DB = 3.1  # curves end at one level if they do within a step of the shipped recipes
FEWEST = 4  # points that two curves must share to be compared


@dataclass(frozen=True)
class StaticCurve:
    """Settled, used points of a static curve, averaged over directions and repeats, by rising input level."""

    input_dbfs: Array
    gain_db: Array
    std_db: Array

    def anchored(self) -> StaticCurve:
        """Return the curve shifted so that its mean gain over the lowest `LOW_SPAN_DB` is zero."""
        low = self.input_dbfs <= self.input_dbfs[0] + LOW_SPAN_DB
        return StaticCurve(self.input_dbfs, self.gain_db - self.gain_db[low].mean(), self.std_db)


def static_curve_of(subject: Subject) -> StaticCurve | None:
    """Average the static curves of a subject's repeats; None if no repeat has `FEWEST` usable points."""
    tables = [profile.curves["static"] for profile in subject.repeats if "static" in profile.curves]
    rows = np.array(sorted(row for table in tables for row in _usable(table))).reshape(-1, 3)
    points = np.split(rows, 1 + np.flatnonzero(np.diff(rows[:, 0]) > SAME_LEVEL_DB))
    if len(points) < FEWEST:
        return None
    return StaticCurve(
        input_dbfs=np.array([point[:, 0].mean() for point in points]),
        gain_db=np.array([point[:, 1].mean() for point in points]),
        std_db=np.array([_std_of_mean(point) for point in points]),
    )


def _std_of_mean(point: Array) -> float:
    """Standard uncertainty of the mean gain: what the points state, or what their scatter shows if larger."""
    count = len(point)
    stated = float(np.sqrt((point[:, 2] ** 2).sum())) / count
    shown = float(point[:, 1].std(ddof=1)) / math.sqrt(count) if count > 1 else 0.0
    return max(stated, shown)


def curve_gap(first: StaticCurve, second: StaticCurve, *, tests: int) -> Gap | None:
    """Compare two curves point by point where both have been measured; None without enough shared range.

    The result is the largest difference, second less first, with its own interval. "same" needs every point
    shown inside the margin, and both curves to end at one level; "different" needs one shown outside, its
    risk shared among the points.
    """
    low = max(first.input_dbfs[0], second.input_dbfs[0])
    high = min(first.input_dbfs[-1], second.input_dbfs[-1])
    inside = (first.input_dbfs >= low - 1e-6) & (first.input_dbfs <= high + 1e-6)
    if inside.sum() < FEWEST:
        return None
    level = first.input_dbfs[inside]
    sides = [
        [
            Estimate(float(gain), float(std))
            for gain, std in zip(
                np.interp(level, curve.input_dbfs, curve.gain_db),
                np.interp(level, curve.input_dbfs, curve.std_db),
                strict=True,
            )
        ]
        for curve in (first, second)
    ]
    loose = [gap(a, b, margin=STATIC_CURVE.size, tests=tests) for a, b in zip(*sides, strict=True)]
    strict = [
        gap(a, b, margin=STATIC_CURVE.size, tests=tests * len(level)) for a, b in zip(*sides, strict=True)
    ]
    worst = max(loose, key=lambda item: abs(item.value))
    verdict: Verdict = "cannot tell"
    whole = abs(first.input_dbfs[-1] - second.input_dbfs[-1]) <= SAME_TOP_DB
    if whole and all(item.verdict == "same" for item in loose):
        verdict = "same"
    elif any(item.verdict == "different" for item in strict):
        verdict = "different"
    return Gap(worst.value, worst.low, worst.high, verdict)


def _usable(table: Table) -> Sequence[tuple[float, float, float]]:
    columns = table.columns
    used = columns.get("used", [True] * len(columns["input_dbfs"]))
    rows = zip(columns["input_dbfs"], columns["gain_db"], columns["std_db"], used, strict=True)
    return [
        (float(level), float(gain), float(std or 0.0))
        for level, gain, std, keep in rows
        if keep and level is not None and gain is not None
    ]
