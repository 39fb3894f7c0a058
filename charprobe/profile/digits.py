"""Digits that a profile keeps, so that files are small and the same in every run."""

from __future__ import annotations

import dataclasses
import math

from charprobe.profile.entry import Cell, Entry, Health, Table
from charprobe.values.quantity import Quantity

DIGITS = 6  # significant digits kept of every measured number, more only where its interval is narrower
PLACE_DIGITS = 10  # of positions and lengths, which count samples: 0.0001 sample after an hour


def rounded(value: float, digits: int = DIGITS) -> float:
    """Return a number to so many significant digits, never -0.0; `ValueError` if it is not finite."""
    value = float(value)
    if not math.isfinite(value):
        raise ValueError("a profile holds finite numbers only; what is missing is None or Unmeasured")
    return float(f"{value:.{digits}g}") + 0.0  # + 0.0 turns -0.0 into 0.0


def _maybe(value: float | None) -> float | None:
    return None if value is None else rounded(value)


def rounded_entry(entry: Entry) -> Entry:
    """Round a reading; what was not measured loses its conditions."""
    reading = entry.reading
    if isinstance(reading, Quantity):
        dbu = None if entry.dbu is None else _rounded_quantity(entry.dbu)
        return Entry(_rounded_quantity(reading), entry.conditions, dbu)
    at_most, at_least = _maybe(reading.at_most), _maybe(reading.at_least)
    return Entry(dataclasses.replace(reading, at_most=at_most, at_least=at_least), "")


def _rounded_quantity(quantity: Quantity) -> Quantity:
    digits = _digits(quantity)
    value, low, high = (rounded(end, digits) for end in (quantity.value, quantity.low, quantity.high))
    return Quantity(value, low, high, quantity.unit)


def _digits(quantity: Quantity) -> int:
    """Return how many digits to keep: `DIGITS`, or more where the interval would not survive it."""
    reach = (quantity.high - quantity.low) / 2
    largest = max(abs(quantity.low), abs(quantity.high))
    if not (math.isfinite(largest) and 0 < reach < largest):
        return DIGITS
    return min(15, max(DIGITS, 3 + math.ceil(math.log10(largest / reach))))


def rounded_table(table: Table) -> Table:
    """Round the numbers of a curve, and turn arrays into plain lists."""
    return Table(
        {
            name: [rounded(cell) if type(cell) is float else _rounded_cell(cell) for cell in column]
            for name, column in table.columns.items()
        },
        {name: table.units[name] for name in table.columns},
    )


def _rounded_cell(cell: Cell) -> Cell:
    if cell is None or isinstance(cell, str):
        return cell
    if isinstance(cell, bool) or type(cell).__name__ == "bool":  # numpy's own truth value included
        return bool(cell)
    return int(cell) if isinstance(cell, int) else rounded(cell)


def rounded_health(item: Health) -> Health:
    """Round the times of a finding."""
    return dataclasses.replace(item, start_s=_maybe(item.start_s), end_s=_maybe(item.end_s))
