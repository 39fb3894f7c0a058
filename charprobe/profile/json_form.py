"""The JSON form of a profile: what each place may hold, and a text that is small and stable."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from annotated_types import Interval, Len, MaxLen

from charprobe.files.limits import Number, OneOf, Says
from charprobe.files.strict_json import Json
from charprobe.files.untrusted import FileKind
from charprobe.profile.entry import Entry, Severity, Table
from charprobe.profile.facts import AlignmentFacts, CaptureFacts, Channel, GivenName, MadeWith, StimulusFacts
from charprobe.values.errors import ProfileError
from charprobe.values.quantity import Cause, Quantity, Unmeasured

SCHEMA = "charprobe.profile/1"
FILE = FileKind(
    called="charprobe profile",
    error=ProfileError,
    most_bytes=50_000_000,
    most_depth=12,
    remedy="a profile is the JSON file that `charprobe measure` writes",
    mend="measure the capture again",
    schema=SCHEMA,
)
Said = Annotated[str, Len(1, 20_000)]


@dataclass(frozen=True)
class DbuForm:
    """The same level in dBu, where a voltmeter told what full scale stands for."""

    value: Number
    low: Number
    high: Number

    def quantity(self) -> Quantity:
        """Return the level; `ValueError` if it lies outside its interval."""
        return Quantity(self.value, self.low, self.high, "dBu")


@dataclass(frozen=True)
class MeasuredForm:
    """A quantity with its value; `low` and `high` are the ends of the 95 % interval."""

    value: Number
    unit: str
    low: Number
    high: Number
    definition: Said
    conditions: str
    dbu: DbuForm | None = None

    def entry(self) -> Entry:
        """Return the entry of a profile; `ValueError` if a value lies outside its interval."""
        dbu = None if self.dbu is None else self.dbu.quantity()
        return Entry(Quantity(self.value, self.low, self.high, self.unit), self.conditions, dbu)


@dataclass(frozen=True)
class BoundForm:
    """What can be said of a quantity without a value: at least one of the two."""

    at_most: Number | None = None
    at_least: Number | None = None

    def __post_init__(self) -> None:
        if self.at_most is self.at_least is None:
            raise ValueError("`at_most`, `at_least` or both")


@dataclass(frozen=True)
class UnmeasuredForm:
    """A quantity without a value: why this capture cannot settle it, and the test that would."""

    value: None
    unit: str
    reason: Said
    next: Said
    bound: BoundForm | None = None
    cause: Cause | None = None

    def entry(self) -> Entry:
        """Return the entry of a profile."""
        bound = self.bound
        at_most, at_least = (bound.at_most, bound.at_least) if bound else (None, None)
        return Entry(Unmeasured(self.unit, self.reason, self.next, at_most, at_least, self.cause), "")


@dataclass(frozen=True)
class HealthForm:
    """Something wrong or worth knowing; channels count from 1."""

    code: Annotated[str, Says("small letters and -", "^[a-z][a-z-]*$")]
    severity: Severity
    message: Said
    channel: Annotated[int, Interval(ge=1)] | None
    start_s: Number | None
    end_s: Number | None
    withholds: tuple[str, ...]


def _form_of(row: Any) -> str:
    return "UnmeasuredForm" if isinstance(row, dict) and row.get("value", 0) is None else "MeasuredForm"


QuantityForm = Annotated[MeasuredForm | UnmeasuredForm, OneOf(_form_of)]
QuantityName = Annotated[str, Says("names such as attack.t63", r"^[a-z]+\.[a-z0-9_]+$")]
CurveName = Annotated[str, Says("small letters, digits and _", "^[a-z][a-z0-9_]*$")]


@dataclass(frozen=True)
class ProfileForm:
    """The whole file."""

    schema: Literal["charprobe.profile/1"]
    setting: GivenName
    channel: Channel
    capture: CaptureFacts
    stimulus: StimulusFacts
    alignment: AlignmentFacts
    quantities: Annotated[Mapping[QuantityName, QuantityForm], MaxLen(500)]
    curves: Annotated[Mapping[CurveName, Table], MaxLen(100)]
    health: Annotated[tuple[HealthForm, ...], MaxLen(10_000)]
    findings: Annotated[tuple[str, ...], MaxLen(1000)]
    made_with: MadeWith


_PLAIN = json.JSONEncoder(ensure_ascii=False, allow_nan=False)


def render(table: Json) -> str:
    """Return strict JSON text: objects one key a line, lists of plain values on one line."""
    return _laid_out(table, 0) + "\n"


def _laid_out(value: Json, depth: int) -> str:
    pad = " " * (depth + 1)
    parts = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    plain_list = isinstance(value, list) and not any(isinstance(part, dict | list) for part in parts)
    if not parts or plain_list:
        text = _PLAIN.encode(value)
        return text.encode("utf-8", "replace").decode("utf-8")  # half a character from an odd file name
    if isinstance(value, list):
        rows = [pad + _laid_out(item, depth + 1) for item in value]
        return "[\n" + ",\n".join(rows) + "\n" + " " * depth + "]"
    rows = [f"{pad}{_laid_out(key, depth)}: {_laid_out(item, depth + 1)}" for key, item in value.items()]
    return "{\n" + ",\n".join(rows) + "\n" + " " * depth + "}"
