"""A quantity over an axis, averaged over the repeats of a subject, and how far two of them lie apart."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from charprobe.comparing.equivalence import RISK, Gap, Likeness, quantile
from charprobe.comparing.subjects import Subject
from charprobe.profile.entry import Table
from charprobe.profile.glossary.row import Margin
from charprobe.values.arrays import Array

LOW_SPAN_DB = 9.0  # the lowest part of a static curve that anchors it: three steps of the shipped recipes
LEAST_STD_DB = 1e-4  # of a point that states less: tables hold no finer ones
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
    anchored : bool
        It is told from another but for what they differ by over the lowest `LOW_SPAN_DB` that both have.
    """

    place: Array
    value_db: Array
    std_db: Array
    same_end: float
    conditions: tuple[float, ...] = ()
    open_end: bool = False
    anchored: bool = False


def averaged(
    subject: Subject, name: str, points_of: Callable[[Table], Array], *, same: float, same_end: float
) -> ComparedCurve | None:
    """Average what one table shows over its rows and the repeats; None with less than `FEWEST` places.

    `points_of` gives place, value and standard uncertainty of every row of a table that counts, shape (n, 3);
    rows closer than `same` are one place; `same_end` is that of `ComparedCurve`.
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


def read_between(curve: ComparedCurve, place: Array) -> tuple[Array, Array]:
    """Value and standard uncertainty of a curve at other places, on the line between the two next to each.

    A curve may leave that line: where it bends one way, by no more than its neighbours' lines carried on;
    where it turns, as a cubic through both slopes. So far reaches the uncertainty: wide where points are
    left out, nil at the curve's own places.
    """
    at, value = curve.place, curve.value_db
    line, std = (np.interp(place, at, column) for column in (value, curve.std_db))
    slope = np.diff(value) / np.diff(at)
    left = np.clip(np.searchsorted(at, place, side="right") - 1, 0, slope.size - 1)
    past, ahead = place - at[left], at[left + 1] - place
    before = (slope[np.maximum(left - 1, 0)] - slope[left]) * past
    after = (slope[left] - slope[np.minimum(left + 1, slope.size - 1)]) * ahead
    one_sided = (left == 0) | (left == slope.size - 1)
    bow = np.where(left == 0, after * past, before * ahead) / (past + ahead)
    before, after = (np.where(one_sided, bow, side) for side in (before, after))
    off, weight = np.abs([before, after]), np.square([ahead, past]) / (past + ahead) ** 2
    return line, np.maximum(std, np.where(before * after < 0, (off * weight).max(axis=0), off.min(axis=0)))


def shared_span(first: ComparedCurve, second: ComparedCurve) -> tuple[float, float]:
    """Return the lowest and the highest place that two curves share; the second is lower where none is."""
    return max(first.place[0], second.place[0]), min(first.place[-1], second.place[-1])


def curve_gap(first: ComparedCurve, second: ComparedCurve, *, margin: Margin, tests: int) -> Gap | None:
    """Compare two curves where both have been measured; None without enough shared places or conditions.

    The result is the largest difference, second less first, with its own interval: of those that are shown
    where there are any, so that no verdict stands beside a number that denies it. "same" needs every point
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
    (one, one_std), (other, other_std) = (read_between(curve, place) for curve in (first, second))
    value, std = other - one, np.hypot(one_std, other_std)
    if first.anchored:
        foot = place <= place[0] + LOW_SPAN_DB
        sure = np.maximum(std[foot], LEAST_STD_DB) ** -2
        value, std = value - np.average(value[foot], weights=sure), np.hypot(std, sure.sum() ** -0.5)
    size = np.abs(value)
    whole = not (first.open_end or second.open_end)
    whole = whole and abs(first.place[-1] - second.place[-1]) <= first.same_end
    shown = size - quantile(1 - RISK / (tests * place.size)) * std > margin.size
    verdict: Likeness = "different" if shown.any() else "cannot tell"
    if whole and bool((size + quantile(1 - RISK / tests) * std < margin.size).all()):
        verdict = "same"
    worst = int(np.argmax(np.where(shown, size, 0.0) if shown.any() else size))
    reach = quantile(1 - RISK / 2) * float(std[worst])
    return Gap(float(value[worst]), float(value[worst]) - reach, float(value[worst]) + reach, verdict)
