"""Every way in which a table can miss its form, and how it is told."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

import jsonschema
import pytest
from annotated_types import Interval, Len

from charprobe.files.checked_model import checked, schema_of
from charprobe.files.limits import OneOf, Says, Sha256, Words
from charprobe.files.untrusted import Content, FileKind
from charprobe.values.errors import VoltsError

KIND = FileKind("form", VoltsError, 1000, 9, "write one")


@dataclass(frozen=True)
class Low:
    low: float


@dataclass(frozen=True)
class High:
    high: float


@dataclass(frozen=True)
class Cells:
    columns: Mapping[
        Annotated[str, Says("small letters", "^[a-z]+$")], Sequence[float | int | bool | str | None]
    ]

    def __post_init__(self) -> None:
        if len({len(column) for column in self.columns.values()}) > 1:
            raise ValueError("columns of one length")


@dataclass(frozen=True)
class Form:
    """A form.

    With details that the schema leaves out.
    """

    name: Words
    code: Sha256
    take: Annotated[int, Interval(ge=0, le=255)]
    side: Literal["left", "right"]
    rows: Annotated[tuple[Cells, ...], Len(1, 3)]
    end: Annotated[Low | High, OneOf(lambda row: "Low" if isinstance(row, dict) and "low" in row else "High")]
    level: Annotated[float, Interval(le=0)] | None = None
    channels: (
        Annotated[tuple[Annotated[int, Interval(ge=1)], ...], Len(1, 4), Says("counted from 1")] | None
    ) = None
    sure: bool = False
    start: float | None = None


CELLS = {"columns": {"x": [1, 2.5, True, None, "a"]}}
GOOD = {"name": "a", "code": "0" * 64, "take": 3, "side": "left", "rows": [CELLS], "end": {"low": 1}}


def built(**changes):
    return checked(Content(KIND, "f", GOOD | changes), Form)


def test_a_good_table_comes_back_with_whole_numbers_whole():
    form = built(channels=[1, 2])
    assert form == Form("a", "0" * 64, 3, "left", (Cells(CELLS["columns"]),), Low(1.0), channels=(1, 2))
    assert [type(cell) for cell in form.rows[0].columns["x"]] == [int, float, bool, type(None), str]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"name": " "}, "f: `name` is ' '; allowed: text of 1 to 2000 characters"),
        ({"name": 1}, "f: `name` is 1; allowed: text of 1 to 2000 characters"),
        ({"code": "0" * 63 + "\n"}, "allowed: 64 hexadecimal digits (0-9, a-f)"),
        ({"code": "\ud800" * 64}, "allowed: text of whole characters"),
        ({"take": 3.0}, "f: `take` is 3.0; allowed: a whole number from 0 to 255"),
        ({"take": True}, "f: `take` is True; allowed: a whole number from 0 to 255"),
        ({"take": None}, "f: `take` is missing; allowed: a whole number from 0 to 255"),
        ({"side": "LEFT"}, 'f: `side` is \'LEFT\'; allowed: "left" or "right"'),
        ({"rows": []}, "f: `rows` is []; allowed: 1 to 3 entries"),
        ({"rows": {}}, "f: `rows` is {}; allowed: 1 to 3 entries"),
        ({"rows": [3]}, "f: entry 1 of `rows` is 3; allowed: a table with columns"),
        (
            {"rows": [{"columns": {"X": []}}]},
            "f, row 1, columns: `X` is []; allowed: no such key; keys are small letters",
        ),
        (
            {"rows": [{"columns": {"x": [0, [1]]}}]},
            "f, row 1, columns: entry 2 of `x` is [1]; allowed: a number, true or",
        ),
        (
            {"rows": [{"columns": {"x": [], "y": [1]}}]},
            "f: entry 1 of `rows` is a table with columns; allowed: columns of",
        ),
        ({"end": {"low": "1"}}, "f, end: `low` is '1'; allowed: a number"),
        ({"end": {"high": 1, "hi": 2}}, "f, end: there is no key `hi`; did you mean `high`?"),
        ({"end": 3}, "f: `end` is 3; allowed: a table with high"),
        ({"level": 0.5}, "f: `level` is 0.5; allowed: a number of up to 0"),
        ({"level": float("nan")}, "f: `level` is nan; allowed: a number of up to 0"),
        ({"level": float("-inf")}, "f: `level` is -inf; allowed: a number of up to 0"),
        ({"channels": [1, 0]}, "f: entry 2 of `channels` is 0; allowed: a whole number of at least 1"),
        ({"channels": [1] * 5}, "allowed: 1 to 4 entries (counted from 1)"),
        ({"channels": "1"}, "f: `channels` is '1'; allowed: 1 to 4 entries (counted from 1)"),
        ({"sure": 1}, "f: `sure` is 1; allowed: true or false"),
        ({"start": "1"}, "f: `start` is '1'; allowed: a number"),
        (
            {"take": 300, "takes": 3},
            "f: there is no key `takes`; did you mean `take`?",
        ),
    ],
)
def test_a_fault_names_place_found_and_allowed(changes, message):
    with pytest.raises(VoltsError) as caught:
        built(**changes)
    assert message in str(caught.value)
    assert len(str(caught.value)) < 250


def test_a_missing_key_is_named():
    table = {key: value for key, value in GOOD.items() if key != "code"}
    with pytest.raises(VoltsError, match=r"f: `code` is missing; allowed: 64 hexadecimal digits"):
        checked(Content(KIND, "f", table), Form)
    with pytest.raises(VoltsError, match=r"f: is \[\]; allowed: a table with name, code"):
        checked(Content(KIND, "f", []), Form)


def test_the_schema_says_the_same():
    schema = schema_of(Form, title="a form")
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    assert (schema["title"], schema["description"]) == ("a form", "A form.")
    assert validator.is_valid(GOOD | {"channels": [1, 2]})
    for change in (
        {"take": 256},
        {"code": "z"},
        {"side": "x"},
        {"rows": []},
        {"new": 1},
        {"end": {}},
        {"channels": [0]},
    ):
        assert not validator.is_valid(GOOD | change), change
