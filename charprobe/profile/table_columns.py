"""Columns of a table as arrays."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from charprobe.profile.entry import Cell, Table

Array = NDArray[np.float64]


def numbers(table: Table, name: str) -> Array:
    """Return a column as numbers; a missing cell or column is NaN and so leaves a gap in a curve."""
    cells: Sequence[Cell] = table.columns.get(name, [None] * rows_of(table))
    return np.array([np.nan if cell is None else float(cell) for cell in cells], dtype=float)


def flags(table: Table, name: str, *, missing: bool) -> NDArray[np.bool_]:
    """Return a column of truth values; `missing` stands in for a missing column or cell."""
    cells = table.columns.get(name, [None] * rows_of(table))
    return np.array([missing if cell is None else bool(cell) for cell in cells], dtype=bool)


def rows_of(table: Table) -> int:
    """Return how many rows a table has."""
    return max((len(column) for column in table.columns.values()), default=0)
