from dataclasses import dataclass, field
from typing import Annotated

import pytest

from charprobe.files.checked_table import (
    FLAG,
    fields_of,
    number,
    numbers,
    read_fields,
    text_up_to,
    whole,
)
from charprobe.values.errors import RecipeError


@dataclass(frozen=True)
class Played:
    gap_s: Annotated[float, number(0, 60)] = field(default=0.3, kw_only=True)
    level: Annotated[float, number(-100, 0)]
    count: Annotated[int, whole(1, 3)]
    holds: Annotated[tuple[float, ...], numbers(0, 1, most=2)]
    title: Annotated[str, text_up_to(5)] = "none"
    loud: Annotated[bool, FLAG] = False
    inner: object = None


GOOD = {"level": -3, "count": 2, "holds": [0, 1]}


def fault(key, found, allowed):
    return RecipeError(f"`{key}` is {found!r}; allowed: {allowed}")


def test_declared_fields_are_read_and_defaults_left_to_the_record():
    values = read_fields(Played, GOOD, fault)
    assert values == {"level": -3.0, "count": 2, "holds": (0.0, 1.0)}
    assert isinstance(values["level"], float)
    assert Played(**values).gap_s == 0.3
    assert list(fields_of(Played)) == ["level", "count", "holds", "title", "loud", "gap_s"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"level": 0.5}, "`level` is 0.5; allowed: a number from -100 to 0"),
        ({"level": True}, "`level` is True"),
        ({"level": float("nan")}, "`level` is nan"),
        ({"level": -(10**400)}, "`level` is -1000"),
        ({"count": 2.0}, "`count` is 2.0; allowed: a whole number from 1 to 3"),
        ({"count": True}, "`count` is True"),
        ({"holds": []}, "`holds` is []; allowed: a list of 1 to 2 numbers from 0 to 1"),
        ({"holds": [0, 0, 0]}, "`holds` is [0, 0, 0]"),
        ({"holds": [0, "1"]}, "`holds` is [0, '1']"),
        ({"holds": 0.5}, "`holds` is 0.5"),
        ({"title": ""}, "`title` is ''; allowed: text of 1 to 5 characters"),
        ({"title": "longer"}, "`title` is 'longer'"),
        ({"loud": 1}, "`loud` is 1; allowed: true or false"),
        ({"inner": 1}, "`inner` is 1; allowed: no such key; known keys: level, count, holds, title"),
        ({"gap_s": 61}, "`gap_s` is 61"),
    ],
)
def test_a_field_outside_its_rule_is_named(change, message):
    with pytest.raises(RecipeError) as caught:
        read_fields(Played, GOOD | change, fault)
    assert str(caught.value).startswith(message)


@pytest.mark.parametrize("key", GOOD)
def test_a_field_without_a_default_must_be_there(key):
    with pytest.raises(RecipeError, match=f"`{key}` is None"):
        read_fields(Played, {k: v for k, v in GOOD.items() if k != key}, fault)
