"""Blocks of a gain trace that grow with the distance from its edge, and sums over them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from charprobe.estimators.timing.trace.carrier_means import (
    CALM_PERIODS,
    calm_sums,
    calmed,
    half_period_means,
    reach_of,
)
from charprobe.values.arrays import Array, Index

DENSITY = 400  # beyond this many samples from the edge, blocks last 1/400 of their distance


@dataclass(frozen=True)
class Blocks:
    """First column and number of columns of each block, and means of rows over it; an edge splits them."""

    split: int
    starts: Index
    counts: Index
    means: Array


def plain_blocks(rows: Array, split: int) -> Blocks:
    """Average rows over blocks on both sides of column `split`."""
    borders = _borders(split, 0, rows.shape[1])
    return _blocks(split, borders, np.add.reduceat(rows, borders[:-1], axis=1))


def calm_blocks(rows: Array, split: int, *, period: float, ahead: float, even: bool) -> Blocks:
    """Average rows over blocks on both sides of column `split`, those over carrier periods where all is calm.

    That is from `CALM_PERIODS` after the edge, and more than `ahead` samples before it. Nearer to it points
    are as they are, or means of two half a period apart if `even` orders leave a residue. What lies nearer to
    an end than a mean reaches is left out.
    """
    reach, calm = reach_of(period), math.ceil(CALM_PERIODS * period)
    borders = _borders(split, reach, rows.shape[1] - reach)
    until, since = split + 1 - max(math.ceil(ahead), calm), split + calm
    # from where blocks are long against what lies beside their borders, no point is laid out
    far = max(split - until, calm, 2 * DENSITY, math.ceil(DENSITY * period / 4))
    first = max(0, int(np.searchsorted(borders, split - far, side="right")) - 1)
    last = min(int(np.searchsorted(borders, split + far)), borders.size - 1)
    begin, end = int(borders[first]), int(borders[last])
    dense = rows[:, begin:end].copy()
    if even:
        near = slice(max(begin, split - calm + 1), min(end, split + calm))
        dense[1:, near.start - begin : near.stop - begin] = half_period_means(
            rows[1:], split, near=near, period=period
        )
    for a, b in ((begin, until), (since, end)):
        if b > a:
            dense[:, a - begin : b - begin] = calmed(rows[:, a - reach : b + reach], period=period)
    within = np.add.reduceat(dense, borders[first:last] - begin, axis=1)
    before, after = (calm_sums(rows, part, period=period) for part in (borders[: first + 1], borders[last:]))
    return _blocks(split, borders, np.concatenate([before, within, after], axis=1))


@lru_cache(maxsize=16)
def _bounds(far: int) -> Index:
    """Where blocks begin, up to so many samples on either side of the edge; not to be changed."""
    near = 2 * DENSITY  # samples up to which a block holds one
    edges = [near]
    while edges[-1] <= far:
        edges.append(edges[-1] + edges[-1] // DENSITY)
    steps = np.concatenate([np.arange(1, near), edges])
    return np.concatenate([1 - steps[::-1], steps])


def _borders(split: int, first: int, stop: int) -> Index:
    """Borders of blocks between two columns."""
    at = _bounds(max(split, stop - split)) + split
    return np.concatenate([[first], at[(at > first) & (at < stop)], [stop]])


def _blocks(split: int, borders: Index, sums: Array) -> Blocks:
    counts = np.diff(borders)
    return Blocks(split, borders[:-1], counts, sums / counts)
