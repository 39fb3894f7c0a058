"""Files that nobody vouches for: opened, limited and parsed once, with one way to say what is wrong."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeVar

from charprobe.files.strict_json import parse_strict
from charprobe.files.toml_limits import too_costly
from charprobe.values.errors import CharprobeError
from charprobe.values.wording import shortened

Form = TypeVar("Form")
PathStep = str | int
WHOLE_DIGITS = 19
_HEADER = re.compile(r"\s*\[\[?\s*([^\]\s]+)\s*\]")


@dataclass(frozen=True)
class FileKind:
    """What a kind of file is called, how much of it is read, and how its faults are told.

    Attributes
    ----------
    called : str
        In messages, such as "session file".
    error : type of CharprobeError
        What a fault raises.
    most_bytes, most_depth : int
        Larger or deeper content is refused before it is looked at.
    remedy : str
        What to do if there is no such file, or no text in it.
    mend : str
        What to do about a wrong value, beyond keeping to what is allowed; may be empty.
    schema : str
        What its key `schema` must hold; empty if it has none.
    """

    called: str
    error: type[CharprobeError]
    most_bytes: int
    most_depth: int
    remedy: str
    mend: str = ""
    schema: str = ""


@dataclass(frozen=True)
class Content:
    """What such a file holds, parsed but not yet checked; `text` is set for TOML, so that lines are named."""

    kind: FileKind
    source: str
    table: Any
    text: str = ""

    def fault(self, *place: PathStep, allowed: str) -> CharprobeError:
        r"""Phrase what is wrong at a place: keys and indices counted from 0, outermost first.

        Examples
        --------
        >>> kind = FileKind("list", CharprobeError, 100, 3, "write one")
        >>> content = Content(kind, "a.toml", {"row": [{"take": 300}]}, '[[row]]\ntake = 300')
        >>> print(content.fault("row", 0, "take", allowed="a whole number from 0 to 255"))
        a.toml, line 2, row 1: `take` is 300; allowed: a whole number from 0 to 255
        """
        value: Any = self.table
        for step in place:
            inside = isinstance(value, dict) or (isinstance(step, int) and isinstance(value, list))
            value = (value.get(step) if isinstance(value, dict) else value[int(step)]) if inside else None
        entry = len(place) > 1 and isinstance(place[-1], int)
        above = place[: -2 if entry else -1]
        key = (
            f"entry {_shown(place[-1])} of `{_shown(place[-2])}` "
            if entry
            else f"`{_shown(place[-1])}` "
            if place
            else ""
        )
        return self._error(place, above, f"{key}is {_found(value)}; allowed: {allowed}")

    def unknown(self, *place: PathStep, known: Sequence[str]) -> CharprobeError:
        r"""Phrase that there is no such key at a place, and which is near.

        Examples
        --------
        >>> kind = FileKind("list", CharprobeError, 100, 3, "write one")
        >>> content = Content(kind, "a.toml", {"seting": 1}, "seting = 1")
        >>> print(content.unknown("seting", known=["setting", "title"]))
        a.toml, line 1: there is no key `seting`; did you mean `setting`?
        """
        near = get_close_matches(str(place[-1]), known, n=1, cutoff=0.6)
        hint = f"did you mean `{near[0]}`?" if near else f"known keys: {', '.join(known)}"
        return self._error(place, place[:-1], f"there is no key `{_shown(place[-1])}`; {hint}")

    def _error(self, place: tuple[PathStep, ...], above: tuple[PathStep, ...], text: str) -> CharprobeError:
        line = _line(self.text, place)
        where = [self.source, *([f"line {line}"] if line else []), *_steps(above)]
        mend = f"; {self.kind.mend}" if self.kind.mend else ""
        return self.kind.error(f"{', '.join(where)}: {text}{mend}")


def read_bytes(path: Path, kind: FileKind) -> bytes:
    """Return the bytes of a file, one more than allowed being read at most; the kind's error otherwise."""
    try:
        if path.exists() and not (
            path.is_file() or path.is_dir()
        ):  # a pipe that nobody fills would be waited for
            raise kind.error(f"{path}: cannot be read: not an ordinary file; {kind.remedy}")
        with path.open("rb") as stream:
            raw = stream.read(kind.most_bytes + 1)
    except OSError as error:
        found = (
            f"is a folder, a {kind.called} is needed"
            if path.is_dir()
            else f"cannot be read: {error.strerror}"
        )
        raise kind.error(f"{path}: {found}; {kind.remedy}") from None
    if len(raw) > kind.most_bytes:
        raise kind.error(f"{path}: larger than {kind.most_bytes} bytes, too large for a {kind.called}")
    return raw


def decoded(raw: bytes, kind: FileKind, *, source: str) -> str:
    """Return the UTF-8 text of the bytes; the kind's error otherwise."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise kind.error(f"{source}: not UTF-8 text (byte {error.start}); {kind.remedy}") from None


def read_text(path: Path, kind: FileKind) -> str:
    """Return the UTF-8 text of a file within the kind's limits; its error otherwise."""
    return decoded(read_bytes(path, kind), kind, source=str(path))


def json_content(text: str, kind: FileKind, *, source: str) -> Content:
    """Parse strict JSON within the kind's limits; `source` names it in messages."""
    try:
        table = parse_strict(text, max_depth=kind.most_depth)
    except ValueError as error:
        raise kind.error(f"{source}: not strict JSON: {error}; {kind.mend or kind.remedy}") from None
    return _of_kind(Content(kind, source, table))


def toml_content(text: str, kind: FileKind, *, source: str) -> Content:
    """Parse TOML within the kind's limits; `source` names it in messages."""
    if why := too_costly(text, most_depth=kind.most_depth):
        raise kind.error(f"{source}, {why}; {kind.mend or kind.remedy}")
    try:
        table = tomllib.loads(text)
    except ValueError as error:
        raise kind.error(f"{source}: not valid TOML: {error}; {kind.mend or kind.remedy}") from None
    content = Content(kind, source, table, text)
    _check_limits(content)
    return _of_kind(content)


def _of_kind(content: Content) -> Content:
    """Refuse a file of another kind."""
    table, kind = content.table, content.kind
    found = table.get("schema") if isinstance(table, dict) else table
    if not isinstance(table, dict) or (kind.schema and found != kind.schema):
        raise kind.error(
            f'{content.source}: not a {kind.called}: `schema` is {_found(found)}; allowed: "{kind.schema}"; '
            f"{kind.remedy}"
        )
    return content


def _check_limits(content: Content) -> None:
    """Refuse what TOML allows and JSON does not carry: bottomless nesting, dates, endless numbers."""
    left: list[tuple[Any, tuple[PathStep, ...]]] = [(content.table, ())]
    while left:
        value, place = left.pop()
        if len(place) > content.kind.most_depth:
            raise content.fault(*place[:2], allowed=f"at most {content.kind.most_depth} levels")
        if isinstance(value, date | time):
            raise content.fault(*place, allowed="text, which stands in quotes")
        if isinstance(value, int) and abs(value) >= 10**WHOLE_DIGITS:
            raise content.fault(*place, allowed=f"a number of at most {WHOLE_DIGITS} digits")
        items = (
            value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
        )
        left.extend((item, (*place, key)) for key, item in items)


def _steps(place: tuple[PathStep, ...]) -> list[str]:
    """Words for the way to a place: ``segments, 0`` is "segment 1"."""
    words: list[str] = []
    for step in place:
        if isinstance(step, int) and words:
            words[-1] = f"{words[-1].removesuffix('s')} {step + 1}"
        else:
            words.append(_shown(step))
    return words


def _shown(step: PathStep) -> str:
    return shortened(repr(step)[1:-1] if isinstance(step, str) else str(step + 1), 60)


def _found(value: object) -> str:
    if value is None:
        return "missing"
    if isinstance(value, dict) and value:
        return shortened(f"a table with {', '.join(map(_shown, value))}", 80)
    if isinstance(value, list) and any(isinstance(item, dict | list) for item in value):
        return f"{len(value)} {'entry' if len(value) == 1 else 'entries'}"
    if isinstance(value, int) and abs(value) >= 10**WHOLE_DIGITS:
        return f"about 10^{math.floor(value.bit_length() * math.log10(2))}"
    return shortened(repr(value), 80)


def _line(text: str, place: tuple[PathStep, ...]) -> int | None:
    """Line of a TOML text where the value at a place is set; of its table's header if it is not."""
    head, rest = (place[0], place[1:]) if len(place) > 1 else ("", place)
    index = rest[0] if rest and isinstance(rest[0], int) else 0
    key = next((step for step in rest if isinstance(step, str)), "")
    inside, seen, fallback = not head, -1, None
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            seen += header[1] == head
            inside = header[1] == head and seen == index
            fallback = number if inside else fallback
        elif inside and key and re.match(rf"\s*[\"']?{re.escape(key)}[\"']?\s*=", line):
            return number
    return fallback
