"""Readings of a voltmeter, typed in by hand, as TOML: what the levels of a capture stand for."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path

from charprobe.profile.volts import VoltsReading
from charprobe.values.errors import VoltsError
from charprobe.values.wording import shortened

MAX_VOLTS_BYTES = 100_000
LEAST_READINGS, MOST_READINGS = 2, 100
LIMITS = {"dbfs": (-120.0, 0.0), "volts": (1e-6, 1000.0)}
EXAMPLE = "[[reading]] with dbfs = -20.0 and volts = 0.775"


def load_volts(path: str | Path) -> tuple[VoltsReading, ...]:
    """Read a file of ``[[reading]]`` entries, each ``dbfs`` and ``volts`` (rms).

    Raises
    ------
    VoltsError
        If it is missing or not valid; names file, place, what was found and what is allowed.
    """
    path = Path(path)
    try:
        with path.open("rb") as stream:
            raw = stream.read(MAX_VOLTS_BYTES + 1)
    except OSError as error:
        raise VoltsError(f"{path}: cannot be read: {error.strerror}; it holds entries {EXAMPLE}") from None
    if len(raw) > MAX_VOLTS_BYTES:
        raise VoltsError(f"{path}: larger than {MAX_VOLTS_BYTES} bytes, too large for a file of readings")
    try:
        table = tomllib.loads(raw.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise VoltsError(f"{path}: not valid TOML: {error}; it holds entries {EXAMPLE}") from None
    other = next((key for key in table if key != "reading"), None)
    if other is not None:
        raise VoltsError(f"{path}: `{shortened(other, 80)}` is no key of this file; known: reading")
    return readings_of(table.get("reading", []), place=f"{path}, reading")


def readings_of(rows: object, *, place: str) -> tuple[VoltsReading, ...]:
    """Check typed readings: two or more tables with ``dbfs`` and ``volts``, at two levels at least.

    Parameters
    ----------
    rows : object
        What the file holds.
    place : str
        File and key, for messages.

    Raises
    ------
    VoltsError
        If a reading is not valid, or there are too few.
    """
    if not isinstance(rows, list) or not LEAST_READINGS <= len(rows) <= MOST_READINGS:
        found = len(rows) if isinstance(rows, list) else shortened(repr(rows), 80)
        raise VoltsError(
            f"{place}: found {found}; allowed: {LEAST_READINGS} to {MOST_READINGS} entries "
            "with dbfs and volts, best 20 dB apart"
        )
    readings = tuple(_reading(row, f"{place} {number}") for number, row in enumerate(rows, start=1))
    if len({reading.level_dbfs for reading in readings}) < 2:
        raise VoltsError(
            f"{place}: all readings are at one level, so a wrong range cannot be noticed; "
            "add one about 20 dB away"
        )
    return readings


def _reading(row: object, place: str) -> VoltsReading:
    if not isinstance(row, Mapping):
        raise VoltsError(f"{place}: is {shortened(repr(row), 80)}; allowed: a table with dbfs and volts")
    other = next((key for key in row if key not in LIMITS), None)
    if other is not None:
        raise VoltsError(f"{place}: `{shortened(other, 80)}` is no key of a reading; known: dbfs, volts")
    return VoltsReading(_number(row, "dbfs", place), _number(row, "volts", place))


def _number(row: Mapping[str, object], key: str, place: str) -> float:
    value, (low, high) = row.get(key), LIMITS[key]
    if not isinstance(value, int | float) or isinstance(value, bool) or not low <= value <= high:
        found = "nothing" if value is None else shortened(repr(value), 80)
        raise VoltsError(f"{place}: `{key}` is {found}; allowed: a number from {low:g} to {high:g}")
    return float(value)
