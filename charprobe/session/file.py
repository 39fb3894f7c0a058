"""Session files: a device, its settings, their captures and the claims made of them, as TOML."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from charprobe.comparing.comparison import CURVES
from charprobe.comparing.margins import MARGINS, Margin
from charprobe.profile import glossary
from charprobe.profile.volts import VoltsReading
from charprobe.profile.volts_file import readings_of
from charprobe.stimulus.render import MAX_TAKE
from charprobe.values.errors import SessionError, VoltsError
from charprobe.values.wording import shortened

SCHEMA = "charprobe.session/1"
MAX_SESSION_BYTES = 1_000_000
MOST_SETTINGS, MOST_CAPTURES, MOST_CLAIMS, MOST_CHANNELS = 200, 100, 200, 64
UNKNOWN = "unknown"
KEYS = (
    "schema", "title", "recipe", "bypass", "bypass_take", "loopback", "pool", "device", "setting", "claim",
    "margin", "calibration",
)  # fmt: skip
Says = Literal["same", "different", "identical", "only louder", "clean below"]
SAYS: tuple[Says, ...] = ("same", "different", "identical", "only louder", "clean below")


@dataclass(frozen=True)
class Device:
    """What was measured, in the user's words; what was not written down is "unknown" and printed so."""

    name: str
    maker: str = UNKNOWN
    serial: str = UNKNOWN
    firmware: str = UNKNOWN
    gain: str = UNKNOWN
    play_path: str = UNKNOWN
    record_path: str = UNKNOWN
    notes: str = ""


@dataclass(frozen=True)
class SessionSetting:
    """One setting: its captures (repeats of each other) and the channels to measure, None for all.

    `take` is the take number its captures carry in the sound; with it, captures need not be listed.
    """

    name: str
    captures: tuple[Path, ...]
    channels: tuple[int, ...] | None = None
    notes: str = ""
    take: int | None = None


@dataclass(frozen=True)
class Claim:
    """Something said about settings, to be checked.

    `of` names a quantity or a curve for "same" and "different" ("" is the static curve); `below_dbfs` and
    `limit_dbc` belong to "clean below".
    """

    says: Says
    settings: tuple[str, ...]
    of: str = ""
    below_dbfs: float | None = None
    limit_dbc: float | None = None


@dataclass(frozen=True)
class Session:
    """A checked session file; paths are absolute, `calibration` is empty without voltmeter readings.

    `pool` is a folder whose captures are paired by their takes, `bypass_take` the bypass's; `loopback` is a
    capture of the path without the device; `margins` are the user's own, by quantity.
    """

    path: Path
    title: str
    recipe: str
    device: Device
    bypass: Path | None
    settings: tuple[SessionSetting, ...]
    claims: tuple[Claim, ...]
    calibration: tuple[VoltsReading, ...] = ()
    loopback: Path | None = None
    pool: Path | None = None
    bypass_take: int | None = None
    margins: Mapping[str, Margin] = field(default_factory=dict)


def load_session(path: str | Path) -> Session:
    """Read and check a session file.

    Raises
    ------
    SessionError
        If it is missing or not valid; names file, place, what was found and what is allowed.
    """
    path = Path(path)
    try:
        with path.open("rb") as stream:
            raw = stream.read(MAX_SESSION_BYTES + 1)
    except OSError as error:
        raise SessionError(
            f"{path}: cannot be read: {error.strerror}; `charprobe session --new FILE` writes a starter"
        ) from None
    if len(raw) > MAX_SESSION_BYTES:
        raise SessionError(f"{path}: larger than {MAX_SESSION_BYTES} bytes, too large for a session file")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise SessionError(f"{path}: not UTF-8 text (byte {error.start}); save it as UTF-8") from None
    return parse_session(text, path=path)


def parse_session(text: str, *, path: Path) -> Session:
    """Check the text of a session file; captures are sought beside `path`."""
    try:
        table = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise SessionError(f"{path}: not valid TOML: {error}; nothing was changed") from None
    top = _Table(table, str(path), KEYS)
    if table.get("schema") != SCHEMA:
        raise top.error("schema", f'"{SCHEMA}"')
    folder = path.resolve().parent
    settings = tuple(
        _setting(row, f"{path}, setting {number}", folder)
        for number, row in enumerate(top.rows("setting", 1, MOST_SETTINGS), start=1)
    )
    names = [setting.name for setting in settings]
    double = next((name for i, name in enumerate(names) if name in names[:i]), None)
    if double is not None:
        raise SessionError(
            f"{path}: two settings are called {double!r}; list all captures of one in one place"
        )
    takes = [setting.take for setting in settings if setting.take is not None]
    if len(set(takes)) < len(takes):
        raise SessionError(f"{path}: two settings have one take number: give each its own")
    pool = top.text("pool", "")
    unlisted = next((setting.name for setting in settings if not setting.captures), None)
    if unlisted is not None and not pool:
        raise SessionError(
            f"{path}: setting {unlisted!r} lists no captures: list them, or name the folder they are in as "
            "`pool`"
        )
    bypass, loopback = top.text("bypass", ""), top.text("loopback", "")
    if loopback and not bypass:
        raise SessionError(
            f"{path}: `loopback` tells what the stage does when off: name that capture as `bypass`"
        )
    return Session(
        path=path,
        title=top.text("title", path.stem),
        recipe=top.text("recipe", "standard"),
        device=_device(table.get("device"), f"{path}, device"),
        bypass=folder / bypass if bypass else None,
        settings=settings,
        claims=tuple(
            _claim(row, f"{path}, claim {number}", names)
            for number, row in enumerate(top.rows("claim", 0, MOST_CLAIMS), start=1)
        ),
        calibration=_calibration(table.get("calibration"), f"{path}, calibration"),
        loopback=folder / loopback if loopback else None,
        pool=folder / pool if pool else None,
        bypass_take=_take(top, "bypass_take"),
        margins=dict(
            _margin(row, f"{path}, margin {number}")
            for number, row in enumerate(top.rows("margin", 0, len(MARGINS)), start=1)
        ),
    )


@dataclass(frozen=True)
class _Table:
    """A table of the file that answers with checked values."""

    table: Mapping[str, Any]
    place: str
    known: tuple[str, ...]

    def __post_init__(self) -> None:
        if not isinstance(self.table, dict):
            raise SessionError(
                f"{self.place}: is {_found(self.table)}; allowed: a table with {', '.join(self.known)}"
            )
        for key in self.table:
            if key not in self.known:
                raise self.error(key, "no such key; known keys: " + ", ".join(self.known))

    def error(self, key: str, allowed: str) -> SessionError:
        return SessionError(f"{self.place}: `{key}` is {_found(self.table.get(key))}; allowed: {allowed}")

    def text(self, key: str, default: str | None = None) -> str:
        value = self.table.get(key, default)
        if not isinstance(value, str) or len(value) > 2000 or (default is None and not value.strip()):
            raise self.error(key, "text of 1 to 2000 characters")
        return value

    def number(self, key: str, low: float, high: float) -> float:
        value = self.table.get(key)
        if not isinstance(value, int | float) or isinstance(value, bool) or not low <= value <= high:
            raise self.error(key, f"a number from {low:g} to {high:g}")
        return float(value)

    def rows(self, key: str, least: int, most: int) -> list[Any]:
        value = self.table.get(key, [])
        if not isinstance(value, list) or not least <= len(value) <= most:
            raise self.error(key, f"{least} to {most} entries")
        return value

    def texts(self, key: str, least: int, most: int) -> tuple[str, ...]:
        value = self.rows(key, least, most)
        if not all(isinstance(item, str) and item.strip() for item in value):
            raise self.error(key, f"a list of {least} to {most} texts")
        return tuple(value)


def _device(row: object, place: str) -> Device:
    known = tuple(Device.__dataclass_fields__)
    table = _Table(row, place, known)  # type: ignore[arg-type]  # checked on construction
    return Device(
        **{
            key: table.text(key, None if key == "name" else UNKNOWN)
            for key in known
            if key in table.table or key == "name"
        }
    )


def _setting(row: object, place: str, folder: Path) -> SessionSetting:
    table = _Table(row, place, ("name", "take", "captures", "channels", "notes"))  # type: ignore[arg-type]
    channels = None
    if "channels" in table.table:
        found = table.rows("channels", 1, MOST_CHANNELS)
        good = all(
            isinstance(item, int) and not isinstance(item, bool) and 1 <= item <= 1024 for item in found
        )
        if not good or len(set(found)) < len(found):
            raise table.error("channels", "a list of different channel numbers, counted from 1")
        channels = tuple(found)
    take = _take(table, "take")
    captures = table.texts("captures", 1 if take is None else 0, MOST_CAPTURES)
    paths = tuple(folder / name for name in captures)
    return SessionSetting(table.text("name"), paths, channels, table.text("notes", ""), take)


def _take(table: _Table, key: str) -> int | None:
    if key not in table.table:
        return None
    value = table.table[key]
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= MAX_TAKE:
        raise table.error(key, f"a whole number from 0 to {MAX_TAKE}, as `charprobe stimulus --take`")
    return value


def _margin(row: object, place: str) -> tuple[str, Margin]:
    table = _Table(row, place, ("of", "size", "reason"))  # type: ignore[arg-type]
    of = table.text("of")
    usual = MARGINS.get(of)
    if usual is None:
        raise table.error("of", "a quantity that is compared, such as attack.t63, or a curve")
    least = 1.0 if usual.scale == "ratio" else 0.0
    size = table.number("size", least, 1e6)
    if size <= least:
        raise table.error("size", "a factor above 1" if least else "a number above 0")
    return of, Margin(size, usual.scale, table.text("reason"))


def _claim(row: object, place: str, names: list[str]) -> Claim:
    known = ("says", "settings", "of", "below_dbfs", "limit_dbc")
    table = _Table(row, place, known)  # type: ignore[arg-type]
    says = next((word for word in SAYS if word == table.table.get("says")), None)
    if says is None:
        raise table.error("says", ", ".join(f'"{word}"' for word in SAYS))
    clean = says == "clean below"
    settings = table.texts("settings", 1 if clean else 2, 1 if clean else 20)
    if any(name not in names for name in settings):
        raise table.error(
            "settings", "names of settings of this session: " + shortened(", ".join(names), 200)
        )
    of = table.text("of", "")
    if of and of not in glossary.TERMS and of not in CURVES:
        curves = ", ".join(f'"{name}"' for name in CURVES)
        raise table.error("of", f"the name of a quantity, such as attack.t63, or of a curve: {curves}")
    if not clean:
        return Claim(says, settings, of)
    below, limit = table.number("below_dbfs", -120, 0), table.number("limit_dbc", -160, 0)
    return Claim(says, settings, of, below, limit)


def _calibration(rows: object, place: str) -> tuple[VoltsReading, ...]:
    if rows is None:
        return ()
    try:
        return readings_of(rows, place=place)
    except VoltsError as error:
        raise SessionError(str(error)) from None


def _found(value: object) -> str:
    return "nothing" if value is None else shortened(repr(value), 80)


STARTER = f"""# A charprobe session: everything that was captured of one device, and what is claimed of it.
# Paths are relative to this file. Check it with `charprobe session FILE --plan`.
schema = "{SCHEMA}"
title = "Field preamp"
recipe = "standard"            # a shipped recipe, or the path of your own
bypass = "captures/off.wav"    # same path, stage off; remove the line if there is none
# loopback = "captures/loop.wav"  # same path without the device: what is the rig's, and whether off is off
# pool = "captures"            # captures found by the take number in their sound, whatever they are called
# bypass_take = 0              # then `charprobe stimulus ... --take N` per setting, and `take = N` below

[device]
name = "Field preamp"
maker = "unknown"              # "unknown" is allowed everywhere, and printed
serial = "unknown"
firmware = "unknown"
gain = "unknown"               # position of the input gain: it sets how hard the stage is driven
play_path = "unknown"          # converter, output, cable
record_path = "unknown"

[[setting]]
name = "voice"
captures = ["captures/voice 1.wav", "captures/voice 2.wav"]   # repeats show what can be told apart
# channels = [1, 2]            # left out: every channel of the capture
# take = 1                     # the sound is asked: a capture of another take goes where it belongs

[[setting]]
name = "crowd"
captures = ["captures/crowd.wav"]

[[claim]]
says = "different"             # same, different, identical, only louder, clean below
settings = ["voice", "crowd"]
of = "release.t63"             # any quantity; left out: the static curve

# [[margin]]                   # your own: the largest difference that does not matter
# of = "attack.t63"
# size = 1.25                  # a factor for times and corners, the quantity's unit for the rest
# reason = "two units of this design differ by so much"

# [[calibration]]              # two or more levels add dBu: volts rms at the input of the stage
# dbfs = -20.0                 # level of the steady tone, as the bypass shows it
# volts = 0.775
"""
