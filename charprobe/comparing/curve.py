"""A quantity over an axis, averaged over the repeats of a subject, and how far two of them lie apart."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from charprobe.comparing.equivalence import RISK, Gap, Likeness, quantile
from charprobe.comparing.subjects import Subject
from charprobe.profile.entry import Table
from charprobe.profile.glossary.row import Margin
from charprobe.values.arrays import Array

LOW_SPAN_DB = 9.0  # the lowest part of a static curve that anchors it: three steps of the shipped recipes
FEWEST = 4  # points that two curves must share to be compared
ALIKE = 0.5  # by which conditions may differ: levels in dB, tones in Hz, times in ms


@dataclass(frozen=True)
class ComparedCurve:
    """A quantity in dB over an axis, averaged over repeats, by rising place.

    Attributes
    ----------
    place : ndarray, shape (n,)
        Input level in dBFS, frequency in octaves re 1 kHz, or time in s.
    value_db, std_db : ndarray, shape (n,)
        The quantity and its standard uncertainty.
    same_end : float
        Two curves end at one place if they do within this.
    conditions : tuple of float
        What it was measured with; curves are compared where these differ by less than `ALIKE` at most.
    open_end : bool
        It goes on above its last place, unmeasured: no other is shown to be the same.
    """

    place: Array
    value_db: Array
    std_db: Array
    same_end: float
    conditions: tuple[float, ...] = ()
    open_end: bool = False

    def anchored(self) -> ComparedCurve:
        """Return the curve shifted so that its mean over the lowest `LOW_SPAN_DB` is zero."""
        low = self.place <= self.place[0] + LOW_SPAN_DB
        return replace(self, value_db=self.value_db - self.value_db[low].mean())


def averaged(
    subject: Subject, name: str, points_of: Callable[[Table], Array], *, same: float, same_end: float
) -> ComparedCurve | None:
    """Average what one table shows over its rows and the repeats; None with less than `FEWEST` places.

    Parameters
    ----------
    name : str
        Table of the profile.
    points_of : callable
        Table -> place, value and standard uncertainty of every row that counts; shape (n, 3).
    same : float
        Rows closer than this are one place.
    same_end : float
        As in `ComparedCurve`.
    """
    tables = [profile.curves[name] for profile in subject.repeats if name in profile.curves]
    rows = np.concatenate([np.zeros((0, 3)), *map(points_of, tables)])
    rows = rows[np.lexsort(rows.T[::-1])]
    points = np.split(rows, 1 + np.flatnonzero(np.diff(rows[:, 0]) > same))
    if len(points) < FEWEST:
        return None
    return ComparedCurve(
        place=np.array([point[:, 0].mean() for point in points]),
        value_db=np.array([point[:, 1].mean() for point in points]),
        std_db=np.array([std_of_mean(point[:, 1], point[:, 2]) for point in points]),
        same_end=same_end,
    )


def std_of_mean(values: Array, stds: Array) -> float:
    """Standard uncertainty of a mean: what its parts state, or what their scatter shows if larger."""
    count = len(values)
    stated = float(np.sqrt((stds**2).sum())) / count
    shown = float(values.std(ddof=1)) / math.sqrt(count) if count > 1 else 0.0
    return max(stated, shown)


def shared_span(first: ComparedCurve, second: ComparedCurve) -> tuple[float, float]:
    """Return the lowest and the highest place that two curves share; the second is lower where none is."""
    return max(first.place[0], second.place[0]), min(first.place[-1], second.place[-1])


def curve_gap(first: ComparedCurve, second: ComparedCurve, *, margin: Margin, tests: int) -> Gap | None:
    """Compare two curves where both have been measured; None without enough shared places or conditions.

    The result is the largest difference, second less first, with its own interval. "same" needs every point
    shown inside the margin, and both curves to end, at one place; "different" needs one shown outside, its
    risk shared among the points.
    """
    pairs = zip(first.conditions, second.conditions, strict=True)
    if any(abs(one - other) > ALIKE for one, other in pairs):
        return None
    low, high = shared_span(first, second)
    place = first.place[(first.place >= low - 1e-6) & (first.place <= high + 1e-6)]
    if place.size < FEWEST:
        return None
    values, stds = (
        [np.interp(place, curve.place, column) for curve, column in columns]
        for columns in (
            ((first, first.value_db), (second, second.value_db)),
            ((first, first.std_db), (second, second.std_db)),
        )
    )
    value, std = values[1] - values[0], np.hypot(*stds)
    size = np.abs(value)
    whole = not (first.open_end or second.open_end)
    whole = whole and abs(first.place[-1] - second.place[-1]) <= first.same_end
    verdict: Likeness = "cannot tell"
    if whole and bool((size + quantile(1 - RISK / tests) * std < margin.size).all()):
        verdict = "same"
    elif bool((size - quantile(1 - RISK / (tests * place.size)) * std > margin.size).any()):
        verdict = "different"
    worst = int(np.argmax(size))
    reach = quantile(1 - RISK / 2) * float(std[worst])
    return Gap(float(value[worst]), float(value[worst]) - reach, float(value[worst]) + reach, verdict)
