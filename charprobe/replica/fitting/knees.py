"""A knee as fits move it: by where it begins, and by its width for each dB of slope.

What lies within a knee tells these two and nothing else: threshold, slope and width of a bend whose straight
part no sound reaches move together along a bent line that a fit would creep along, and whose length no
covariance tells. In `Bend.threshold_dbfs` and `Bend.knee_db` of a cell `by_width`, and in fitted numbers of
those names, stand the beginning and the width for each dB of slope.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from charprobe.replica.flat import value_at
from charprobe.replica.parts import Cell, Chain
from charprobe.values.arrays import Array

WIDEST_DB = 50.0
LEAST_SLOPE = 0.02  # of a bend whose width is divided by its slope


def by_width(cell: Cell) -> Cell:
    """The cell with its bends by beginning and width for each dB of slope.

    Examples
    --------
    >>> from charprobe.replica.parts import Bend
    >>> by_width(Cell(bends=(Bend(-20.0, 0.5, 6.0),))).bends[0]
    Bend(threshold_dbfs=-23.0, slope=0.5, knee_db=12.0, side='above', most_db=120.0)
    """
    bends = (
        replace(
            bend,
            threshold_dbfs=bend.threshold_dbfs - bend.knee_db / 2,
            knee_db=bend.knee_db / max(abs(bend.slope), LEAST_SLOPE),
        )
        for bend in cell.bends
    )
    return replace(cell, bends=tuple(bends))


def by_knee(cell: Cell) -> Cell:
    """The cell with thresholds and knees again.

    Examples
    --------
    >>> from charprobe.replica.parts import Bend
    >>> by_knee(Cell(bends=(Bend(-23.0, 0.5, 12.0),))).bends[0].threshold_dbfs
    -20.0
    """
    bends = []
    for bend in cell.bends:
        knee_db = min(WIDEST_DB, bend.knee_db * abs(bend.slope))
        bends.append(replace(bend, threshold_dbfs=bend.threshold_dbfs + knee_db / 2, knee_db=knee_db))
    return replace(cell, bends=tuple(bends))


def spread_by_knee(places: Sequence[str], cell: Cell) -> Array:
    """Derivatives of threshold and knee by what is fitted in their places, the cell being as found."""
    turn, chain = np.eye(len(places)), Chain(cell=cell)
    for row, place in enumerate(places):
        bend, _, key = place.rpartition(".")
        if key not in ("threshold_dbfs", "knee_db"):
            continue
        slope, knee_db = value_at(chain, f"{bend}.slope"), value_at(chain, f"{bend}.knee_db")
        share = 1.0 if key == "knee_db" else 0.5
        turn[row, places.index(f"{bend}.knee_db")] = share * abs(slope)
        turn[row, places.index(f"{bend}.slope")] = share * knee_db / (slope or LEAST_SLOPE)
    return turn
