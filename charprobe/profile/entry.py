"""Chapters: what one topic (static curve, timing, colour, ...) contributes to a profile."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray

from charprobe.files.limits import Number, Says
from charprobe.profile import glossary
from charprobe.values.arrays import Array
from charprobe.values.errors import CharprobeError
from charprobe.values.quantity import Quantity, Reading, Unmeasured, is_told
from charprobe.values.wording import clock_text, shortened, time_text

Severity = Literal["stop", "warn", "note"]
Cell = Number | int | bool | str | None


@dataclass(frozen=True)
class Entry:
    """A reading under its published name, its conditions, and the level in dBu where a voltmeter tells it."""

    reading: Reading
    conditions: str
    dbu: Quantity | None = None

    @property
    def clauses(self) -> tuple[str, ...]:
        """The conditions one by one: each is a clause, and semicolons join them."""
        return tuple(clause for part in self.conditions.split(";") if (clause := part.strip().rstrip(".")))


class _Columns(dict[str, Sequence[Cell]]):
    """Columns by name; a file that was edited may lack one that every such curve has."""

    def __missing__(self, name: str) -> Sequence[Cell]:
        raise CharprobeError(
            f"a curve without its column `{shortened(name, 40)}`: the profile was edited or cut. Measure the "
            "capture again. No file was changed"
        )


@dataclass(frozen=True)
class Table:
    """A curve: columns of one length, and the unit of each column ("" where it has none)."""

    columns: Mapping[Annotated[str, Says("small letters, digits and _", "^[a-z][a-z0-9_]*$")], Sequence[Cell]]
    units: Mapping[str, str]

    def __post_init__(self) -> None:
        if len({len(column) for column in self.columns.values()}) > 1:
            raise ValueError("columns of a table must be of one length")
        if set(self.columns) != set(self.units):
            raise ValueError("every column of a table needs a unit, and no other")
        for name, column in self.columns.items():
            wrong = next((cell for cell in column if isinstance(cell, str)), None)
            if self.units[name] and wrong is not None:
                raise ValueError(f"only numbers in column {name}, not {shortened(repr(wrong), 40)}")
        object.__setattr__(self, "columns", _Columns(self.columns))


NO_BYPASS = "there is no bypass capture to compare with"  # the reason of what is a difference to one
ALL_GIVEN = "Everything is given, marked"  # how the message of a finding ends that takes nothing back


@dataclass(frozen=True)
class Health:
    """Something wrong or worth knowing about a capture or a stage: what, where, and what it costs.

    `channel` counts from 0 here and from 1 in a profile; `start_s` and `end_s` are seconds from the first
    sample of the capture; `withholds` names the quantities (or groups, such as ``attack``) that are not
    given because of it, and neither are the curves that stand on them (`glossary.CURVES`).
    """

    code: str
    severity: Severity
    message: str
    channel: int | None = None
    start_s: float | None = None
    end_s: float | None = None
    withholds: tuple[str, ...] = ()

    def takes_back(self, *names: str) -> bool:
        """Whether one of some quantities is withheld, by its name or its group's."""
        return any(name in self.withholds or glossary.group(name) in self.withholds for name in names)

    def for_people(self) -> Health:
        """Return the finding with its channel counted as people do: from 1."""
        return self if self.channel is None else replace(self, channel=self.channel + 1)


Published = Mapping[str, Entry]
"""Every reading of a profile under its name, after whatever had to be taken back was taken back."""


def silent(published: Published) -> Iterable[str]:
    """Say nothing."""
    return ()


@dataclass(frozen=True)
class Chapter:
    """Readings, curves and health of one topic, and how its sentences are drawn from what is published.

    `words` is asked once everything has been measured and judged, so no sentence outlives its number.
    """

    quantities: Published = field(default_factory=dict)
    curves: Mapping[str, Table] = field(default_factory=dict)
    health: tuple[Health, ...] = ()
    words: Callable[[Published], Iterable[str]] = silent

    @property
    def findings(self) -> tuple[str, ...]:
        """The chapter's sentences where nothing of it is taken back."""
        return tuple(self.words(self.quantities))


def known(published: Published, *names: str) -> bool:
    """Tell whether each of some quantities is published as a number or a bound."""
    return all(is_told(published[name].reading) for name in names)


def unmeasured(names: Iterable[str], reason: str, following: str) -> dict[str, Entry]:
    """Say of each named quantity why it has no number, and which test would settle it."""
    return {name: Entry(Unmeasured(glossary.term(name).unit, reason, following), "") for name in names}


def cell_of(reading: Reading | None) -> float | None:
    """Value of a reading for a table; None where there is no number."""
    return reading.value if isinstance(reading, Quantity) else None


def std_of(reading: Reading | None) -> float | None:
    """Standard uncertainty of a reading for a table; None where there is no number."""
    return reading.std if isinstance(reading, Quantity) else None


def numbers(table: Table, name: str) -> Array:
    """Return a column as numbers; a missing cell or column, or a word, is NaN: a gap in a curve."""
    cells: Sequence[Cell] = table.columns.get(name, [None] * rows_of(table))
    if str in set(map(type, cells)):
        cells = [None if isinstance(cell, str) else cell for cell in cells]
    return np.array(cells, dtype=float)


def flags(table: Table, name: str, *, missing: bool) -> NDArray[np.bool_]:
    """Return a column of truth values; `missing` stands in for a missing column or cell."""
    cells = table.columns.get(name, [None] * rows_of(table))
    return np.array([missing if cell is None else bool(cell) for cell in cells], dtype=bool)


def rows_of(table: Table) -> int:
    """Return how many rows a table has."""
    return max((len(column) for column in table.columns.values()), default=0)


def where_text(item: Health) -> str:
    """Return channel and time of a health item as far as its message does not say them; "" with neither."""
    channel = "" if item.channel is None else f"channel {item.channel}"
    parts = [channel] if channel and channel not in item.message else []
    if item.start_s is not None and clock_text(item.start_s) not in item.message:
        ends = (item.start_s, item.start_s if item.end_s is None else item.end_s)
        parts.append("–".join(dict.fromkeys(time_text(end) for end in ends)))
    return ", ".join(parts)
