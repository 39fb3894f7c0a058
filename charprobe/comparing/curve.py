"""A quantity over an axis, averaged over the repeats of a subject, ready to be compared as a whole."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from charprobe.comparing.subjects import Subject
from charprobe.profile.entry import Table

Array = NDArray[np.float64]
Points = Sequence[tuple[float, float, float]]

LOW_SPAN_DB = 9.0  # the lowest part of a static curve that anchors it: three steps of the shipped recipes
FEWEST = 4  # points that two curves must share to be compared


@dataclass(frozen=True)
class Curve:
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
    """

    place: Array
    value_db: Array
    std_db: Array
    same_end: float
    conditions: tuple[float, ...] = ()

    def anchored(self) -> Curve:
        """Return the curve shifted so that its mean over the lowest `LOW_SPAN_DB` is zero."""
        low = self.place <= self.place[0] + LOW_SPAN_DB
        return replace(self, value_db=self.value_db - self.value_db[low].mean())


def averaged(
    subject: Subject, name: str, points_of: Callable[[Table], Points], *, same: float, same_end: float
) -> Curve | None:
    """Average what one table shows over its rows and the repeats; None with less than `FEWEST` places.

    Parameters
    ----------
    name : str
        Table of the profile.
    points_of : callable
        Table -> place, value and standard uncertainty of every row that counts.
    same : float
        Rows closer than this are one place.
    same_end : float
        As in `Curve`.
    """
    tables = [profile.curves[name] for profile in subject.repeats if name in profile.curves]
    rows = np.array(sorted(row for table in tables for row in points_of(table))).reshape(-1, 3)
    points = np.split(rows, 1 + np.flatnonzero(np.diff(rows[:, 0]) > same))
    if len(points) < FEWEST:
        return None
    return Curve(
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
