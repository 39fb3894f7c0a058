"""What rules of consistency look at, and what they find."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from charprobe.profile.entry import Published, Table, flags, numbers
from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity, Unmeasured, value_or_most

SIGMAS = 4.0  # standard uncertainties by which two readings must differ to deny each other


@dataclass(frozen=True)
class Contradiction:
    """What denies each other, in words, which of it is taken back, and the bound that stays if one does."""

    takes_back: tuple[str, ...]
    message: str
    at_most: float | None = None


@dataclass(frozen=True)
class Readings:
    """What rules look at: readings that are published, and the curves."""

    published: Published
    curves: Mapping[str, Table]

    def number(self, name: str) -> Quantity | None:
        """A quantity if it is published as a number."""
        entry = self.published.get(name)
        return entry.reading if entry is not None and isinstance(entry.reading, Quantity) else None

    def bound(self, name: str) -> float | None:
        """A lower bound, if the quantity is published as one."""
        entry = self.published.get(name)
        return entry.reading.at_least if entry is not None and isinstance(entry.reading, Unmeasured) else None

    def at_most(self, name: str) -> float:
        """A quantity's value, or its upper bound; minus infinity where neither is published."""
        entry = self.published.get(name)
        most = value_or_most(entry.reading if entry is not None else None)
        return -math.inf if most is None else most

    def column(self, curve: str, name: str) -> Array:
        """A column of a curve; empty where there is no such curve."""
        return numbers(self.curves[curve], name) if curve in self.curves else np.empty(0)

    def steps(self) -> tuple[Array, Array, Array]:
        """Level, gain and standard uncertainty of the level steps in use, by rising level."""
        if "static" not in self.curves:
            return np.empty(0), np.empty(0), np.empty(0)
        used = np.flatnonzero(flags(self.curves["static"], "used", missing=False))
        level, gain, std = (self.column("static", name)[used] for name in ("input_dbfs", "gain_db", "std_db"))
        order = np.argsort(level, kind="stable")
        return level[order], gain[order], std[order]


Rule = Callable[[Readings], Iterator[Contradiction]]
"""A rule looks at the readings and tells what denies each other; it takes nothing back itself."""
