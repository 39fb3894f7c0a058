import pytest

from charprobe.files.checked_table import CheckedRow
from charprobe.values.errors import RecipeError


def row(value):
    return CheckedRow({"key": value}, "x.json: part 2", ("key",))


def test_good_values_come_back_as_they_are():
    assert row(3).whole("key", 0, 3) == 3
    assert row(3).number("key", 0, 3) == 3.0
    assert row(-0.5).number("key", -1, 1) == -0.5
    assert row("b").choice("key", "a", "b") == "b"
    assert row("0af").hex_code("key", 3) == "0af"
    assert row([1, 2]).rows("key", 2) == [1, 2]


@pytest.mark.parametrize(
    ("value", "ask", "message"),
    [
        (3.0, lambda r: r.whole("key", 0, 3), "`key` is 3.0; allowed: a whole number from 0 to 3"),
        (True, lambda r: r.whole("key", 0, 3), "`key` is True"),
        (4, lambda r: r.whole("key", 0, 3), "`key` is 4"),
        (None, lambda r: r.number("key", 0, 3), "`key` is nothing; allowed: a number from 0 to 3"),
        (True, lambda r: r.number("key", 0, 3), "`key` is True"),
        (float("nan"), lambda r: r.number("key", 0, 3), "`key` is nan"),
        (10**400, lambda r: r.number("key", 0, 3), "`key` is 1000"),
        ([1], lambda r: r.choice("key", "a", "b"), '`key` is [1]; allowed: "a" or "b"'),
        ("0AF", lambda r: r.hex_code("key", 3), "allowed: 3 hexadecimal digits"),
        ([1, 2, 3], lambda r: r.rows("key", 2), "allowed: a list of at most 2 entries"),
        ("x" * 500, lambda r: r.rows("key", 2), "xxx...; allowed"),
    ],
)
def test_a_bad_value_is_named_with_place_found_and_allowed(value, ask, message):
    with pytest.raises(RecipeError) as caught:
        ask(row(value))
    assert str(caught.value).startswith("x.json: part 2: `key` is ")
    assert message in str(caught.value)
    assert len(str(caught.value)) < 250


def test_keys_must_be_there_and_no_others():
    with pytest.raises(RecipeError, match=r"`b` is missing; needed: a, b"):
        CheckedRow({"a": 1}, "x", ("a", "b"))
    with pytest.raises(RecipeError, match=r"`c\\n` is 1; allowed: no such key; known keys: a"):
        CheckedRow({"a": 1, "c\n": 1}, "x", ("a",))
    with pytest.raises(RecipeError, match=r"x is \[\]; allowed: a table of named values"):
        CheckedRow([], "x", ("a",))
