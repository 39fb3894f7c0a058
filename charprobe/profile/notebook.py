"""A profile in a notebook: curves as arrays and data frames, readings as a table."""

from __future__ import annotations

import importlib
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from html import escape
from typing import Any

import numpy as np
from numpy.typing import NDArray

from charprobe.profile import glossary
from charprobe.profile.entry import Cell, Entry, Table
from charprobe.values.quantity import Quantity
from charprobe.values.wording import literal, readable


def column_arrays(table: Table) -> dict[str, NDArray[Any]]:
    """Return the columns as arrays: text with "" where a cell is missing, truth values, numbers with NaN."""
    return {name: _array(list(cells)) for name, cells in table.columns.items()}


def _array(cells: list[Cell]) -> NDArray[Any]:
    if any(isinstance(cell, str) for cell in cells):
        return np.array(["" if cell is None else str(cell) for cell in cells])
    if cells and all(isinstance(cell, bool) for cell in cells):
        return np.array(cells, dtype=bool)
    return np.array([np.nan if cell is None else float(cell) for cell in cells], dtype=float)


def data_frame(table: Table) -> Any:
    """Return the columns as a pandas DataFrame, their units in its ``attrs["units"]``.

    `ImportError` if pandas, which this package does not require, is not installed.
    """
    try:
        pandas = importlib.import_module("pandas")
    except ImportError:
        raise ImportError("data frames need pandas: install it, or take the arrays of `curve`") from None
    frame = pandas.DataFrame(column_arrays(table))
    frame.attrs["units"] = dict(table.units)
    return frame


def not_held(kind: str, name: str, held: Iterable[str]) -> KeyError:
    """Return the error for a name that a profile does not hold; it tells the nearest names it does."""
    names = list(held)
    near = get_close_matches(str(name), names, n=3, cutoff=0.5) or names[:3]
    return KeyError(f"this profile holds no {kind} {name!r}; near: {', '.join(near) or 'it holds none'}")


def html_table(caption: str, quantities: Mapping[str, Entry]) -> str:
    """Return the readings as an HTML table: number, interval and unit, or the reason why there is none."""
    rows = []
    for name, entry in quantities.items():
        title = f'<th scope="row" title="{escape(name)}">{escape(glossary.term(name).title)}</th>'
        reading = entry.reading
        if isinstance(reading, Quantity):
            shown = readable(reading)
            cells = "".join(f"<td>{escape(text)}</td>" for text in (shown.value, shown.spread, shown.unit))
        else:
            cells = f'<td colspan="3">{escape(reading.reason)}</td>'
        rows.append(f"<tr>{title}{cells}</tr>")
    head = "".join(f'<th scope="col">{text}</th>' for text in ("", "value", "95 % interval", "unit"))
    return (
        f"<table><caption>{escape(literal(caption))}</caption>\n<thead><tr>{head}</tr></thead>\n<tbody>\n"
        + "\n".join(rows)
        + "\n</tbody></table>"
    )
