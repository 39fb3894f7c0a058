"""The numbers of a gain cell as one row, for fits and for the sample loop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, TypeVar, get_args, get_type_hints

import numpy as np

from charprobe.replica.parts import Bend, Cell, DetectorKind, Domain, Form, ReleaseKind
from charprobe.values.arrays import Array, Index

Part = TypeVar("Part")
BENDS = 3
_NO_BEND = Bend(threshold_dbfs=0.0, slope=0.0)
_BEND_KEYS = ("threshold_dbfs", "slope", "knee_db", "most_db")
_DETECTOR_KEYS = (
    "exponent", "rise_s", "fall_s", "kept_s", "low_cut_hz", "low_cut_q", "shelf_hz", "shelf_db", "floor_dbfs",
    "split_hz",
)  # fmt: skip
_SMOOTHING_KEYS = (
    "attack_s", "release_s", "hold_s", "slow_s", "slow_share", "charge_s", "power", "stretch", "stretch_db",
)  # fmt: skip
NAMES: tuple[str, ...] = (
    *(f"bends.{i}.{key}" for i in range(BENDS) for key in _BEND_KEYS),
    *(f"detector.{key}" for key in _DETECTOR_KEYS),
    *(f"smoothing.{key}" for key in _SMOOTHING_KEYS),
    "link",
)  # columns of a row; make-up and look-ahead lie outside the loop
COLUMN = {name: column for column, name in enumerate(NAMES)}
DETECTOR = slice(COLUMN["detector.exponent"], COLUMN["detector.split_hz"] + 1)  # what a reading depends on


def flatten(cell: Cell) -> Array:
    """Return the numbers of a cell in the order of `NAMES`; bends that are not there have slope 0.

    Examples
    --------
    >>> row = flatten(Cell(bends=(Bend(threshold_dbfs=-20.0, slope=0.75),)))
    >>> float(row[COLUMN["bends.0.threshold_dbfs"]]), float(row[COLUMN["bends.1.slope"]])
    (-20.0, 0.0)
    """
    whole = replace(cell, bends=(*cell.bends, *[_NO_BEND] * (BENDS - len(cell.bends))))
    return np.array([value_at(whole, name) for name in NAMES])


def codes_of(cell: Cell) -> Index:
    """Return the structure of a cell as whole numbers: what a row of `flatten` is read with."""
    choices = [
        get_args(DetectorKind).index(cell.detector.kind),
        get_args(Domain).index(cell.smoothing.domain),
        get_args(Form).index(cell.smoothing.form),
        int(cell.smoothing.towards == "target"),
        get_args(ReleaseKind).index(cell.smoothing.release),
        int(cell.loop == "feedback"),
    ]
    sides = [int(bend.side == "below") for bend in cell.bends]
    return np.array([*choices, *sides, *[0] * (BENDS - len(sides))], dtype=np.int64)


def value_at(part: Any, name: str) -> float:
    """Return the number at a dotted place, such as ``cell.bends.0.slope`` of a `Chain`."""
    for step in name.split("."):
        part = part[int(step)] if isinstance(part, tuple) else getattr(part, step)
    return float(part)


def range_at(part: Any, name: str) -> tuple[float, float]:
    """Return the least and the greatest that the number at a dotted place may be.

    Examples
    --------
    >>> range_at(Cell(), "detector.split_hz")
    (1.0, 2000.0)
    """
    kind: Any = type(part)
    for step in name.split("."):
        kind = get_args(kind)[0] if step.isdigit() else get_type_hints(kind, include_extras=True)[step]
        limits: tuple[Any, ...] = getattr(kind, "__metadata__", ())
        kind = kind.__origin__ if limits else kind
    return float(limits[0].ge), float(limits[0].le)


def with_values(part: Part, names: Sequence[str], values: Sequence[float] | Array) -> Part:
    """Return a copy of a part with the numbers at dotted places replaced, all of them at once.

    Examples
    --------
    >>> with_values(Cell(), ["smoothing.attack_s", "link"], [0.01, 1.0]).smoothing.attack_s
    0.01
    """
    inner: dict[str, dict[str, float]] = {}
    here: dict[str, Any] = {}
    for name, value in zip(names, values, strict=True):
        step, _, rest = name.partition(".")
        if rest:
            inner.setdefault(step, {})[rest] = float(value)
        else:
            here[step] = float(value)
    for step, some in inner.items():
        child = part[int(step)] if isinstance(part, tuple) else getattr(part, step)
        here[step] = with_values(child, list(some), list(some.values()))
    if isinstance(part, tuple):
        return tuple(here.get(str(k), value) for k, value in enumerate(part))  # type: ignore[return-value]  # of the type given
    return replace(part, **here)  # type: ignore[type-var]  # any dataclass
