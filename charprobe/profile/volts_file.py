"""Readings of a voltmeter, typed in by hand, as TOML: what the levels of a capture stand for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from annotated_types import Interval, Len

from charprobe.files.checked_model import checked
from charprobe.files.limits import Says
from charprobe.files.untrusted import Content, FileKind, PathStep, read_text, toml_content
from charprobe.profile.volts import VoltsReading
from charprobe.values.errors import VoltsError

FILE = FileKind(
    called="file of readings",
    error=VoltsError,
    most_bytes=100_000,
    most_depth=4,
    remedy="it holds entries [[reading]] with dbfs = -20.0 and volts = 0.775",
)


@dataclass(frozen=True)
class ReadingRow:
    """One reading as it is typed."""

    dbfs: Annotated[float, Interval(ge=-120, le=0)]
    volts: Annotated[float, Interval(ge=1e-6, le=1000)]


ReadingRows = Annotated[
    tuple[ReadingRow, ...], Len(2, 100), Says("each with dbfs and volts, best 20 dB apart")
]


@dataclass(frozen=True)
class VoltsForm:
    """The whole file."""

    reading: ReadingRows


def load_volts(path: str | Path) -> tuple[VoltsReading, ...]:
    """Read a file of ``[[reading]]`` entries, each ``dbfs`` and ``volts`` (rms).

    Raises
    ------
    VoltsError
        If it is missing or not valid; names file, place, what was found and what is allowed.
    """
    path = Path(path)
    content = toml_content(read_text(path, FILE), FILE, source=str(path))
    return readings_of(checked(content, VoltsForm).reading, content, "reading")


def readings_of(rows: Sequence[ReadingRow], content: Content, *place: PathStep) -> tuple[VoltsReading, ...]:
    """Return typed readings, which must be at two levels at least; they stand at `place` of `content`."""
    if len({row.dbfs for row in rows}) == 1:
        raise content.fault(
            *place,
            allowed="two levels or more, best 20 dB apart; all readings are at one level, so a wrong range "
            "cannot be noticed",
        )
    return tuple(VoltsReading(row.dbfs, row.volts) for row in rows)
