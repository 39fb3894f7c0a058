"""One table of an untrusted file, read key by key with every value checked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, fields
from typing import Any, get_type_hints

from charprobe.values.errors import CharprobeError, RecipeError


@dataclass(frozen=True)
class Rule:
    """What a field of a file may hold: in words, as a test of the parsed value, and what is made of it.

    A dataclass declares it beside the type: ``level_dbfs: Annotated[float, number(-100, 0)]``.
    """

    words: str
    admits: Callable[[Any], bool]
    make: Callable[[Any], Any] = lambda found: found


def number(low: float, high: float) -> Rule:
    """Finite number in a range."""
    return Rule(
        f"a number from {low:g} to {high:g}",
        lambda found: isinstance(found, int | float) and not isinstance(found, bool) and low <= found <= high,
        float,
    )


def whole(low: int, high: int) -> Rule:
    """Whole number in a range."""
    return Rule(
        f"a whole number from {low} to {high}",
        lambda found: isinstance(found, int) and not isinstance(found, bool) and low <= found <= high,
    )


def numbers(low: float, high: float, most: int = 64) -> Rule:
    """List of numbers, each in a range."""
    one = number(low, high)
    return Rule(
        f"a list of 1 to {most} numbers from {low:g} to {high:g}",
        lambda found: isinstance(found, list) and 1 <= len(found) <= most and all(map(one.admits, found)),
        lambda found: tuple(map(float, found)),
    )


def text_up_to(longest: int) -> Rule:
    """Text that is not empty."""
    return Rule(
        f"text of 1 to {longest} characters",
        lambda found: isinstance(found, str) and 1 <= len(found) <= longest,
    )


FLAG = Rule("true or false", lambda found: isinstance(found, bool))


def fields_of(record: type) -> dict[str, Rule]:
    """Rule of every field of a dataclass that has one, as a file lists them: keyword-only fields last."""
    hints = get_type_hints(record, include_extras=True)
    keys = [f.name for f in sorted(fields(record), key=lambda f: f.kw_only is True)]
    found = {key: getattr(hints[key], "__metadata__", (None,))[0] for key in keys}
    return {key: rule for key, rule in found.items() if isinstance(rule, Rule)}


def read_fields(
    record: type, table: Mapping[str, Any], error: Callable[[str, object, str], CharprobeError]
) -> dict[str, Any]:
    """Check a plain table against the fields of a dataclass.

    Parameters
    ----------
    record : type
        A dataclass; fields without a rule are left to the caller.
    table : mapping
        As parsed.
    error : callable
        Phrases a fault of a key, what was found there, and what is allowed.

    Returns
    -------
    dict
        Values for the constructor; what the table leaves to its default is left out.
    """
    rules, optional = fields_of(record), {f.name for f in fields(record) if f.default is not MISSING}
    for key in table:
        if key not in rules:
            raise error(key, table[key], f"no such key; known keys: {', '.join(rules)}")
    values = {}
    for key, rule in rules.items():
        if key not in table and key in optional:
            continue
        if key not in table or not rule.admits(table[key]):
            raise error(key, table.get(key), rule.words)
        values[key] = rule.make(table[key])
    return values


@dataclass(frozen=True)
class CheckedRow:
    """A table that answers only with values of the type and range asked for.

    Attributes
    ----------
    table : object
        As parsed; anything but a dict is an error on construction.
    place : str
        File and part of it, for messages.
    keys : tuple of str
        The keys it must have, and no other.

    Examples
    --------
    >>> CheckedRow({"take": 300}, "x.json", ("take",)).whole("take", 0, 255)
    Traceback (most recent call last):
    charprobe.values.errors.RecipeError: x.json: `take` is 300; allowed: a whole number from 0 to 255
    """

    table: Any
    place: str
    keys: tuple[str, ...]

    def __post_init__(self) -> None:
        if not isinstance(self.table, dict):
            raise RecipeError(f"{self.place} is {_shown(self.table)}; allowed: a table of named values")
        for key in self.table:
            if key not in self.keys:
                raise self.error(str(key), f"no such key; known keys: {', '.join(self.keys)}")
        for key in self.keys:
            if key not in self.table:
                raise RecipeError(f"{self.place}: `{key}` is missing; needed: {', '.join(self.keys)}")

    def error(self, key: str, allowed: str) -> RecipeError:
        """Phrase what is wrong with the value of `key`."""
        return RecipeError(
            f"{self.place}: `{repr(key)[1:-1][:40]}` is {_shown(self.table[key])}; allowed: {allowed}"
        )

    def whole(self, key: str, low: int, high: int) -> int:
        """Whole number from `low` to `high`."""
        value = self.table[key]
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise self.error(key, f"a whole number from {low} to {high}")
        return value

    def number(self, key: str, low: float, high: float) -> float:
        """Finite number from `low` to `high`."""
        value = self.table[key]
        good = isinstance(value, int | float) and not isinstance(value, bool)
        if not good or not low <= value <= high:  # also true for NaN
            raise self.error(key, f"a number from {low:g} to {high:g}")
        return float(value)

    def choice(self, key: str, *allowed: str) -> str:
        """One of the given texts."""
        value = self.table[key]
        if not isinstance(value, str) or value not in allowed:
            raise self.error(key, " or ".join(f'"{text}"' for text in allowed))
        return value

    def hex_code(self, key: str, digits: int) -> str:
        """Text of exactly `digits` small hexadecimal digits."""
        value = self.table[key]
        if not isinstance(value, str) or len(value) != digits or set(value) - set("0123456789abcdef"):
            raise self.error(key, f"{digits} hexadecimal digits (0-9, a-f)")
        return value

    def rows(self, key: str, most: int) -> list[Any]:
        """List of at most `most` entries."""
        value = self.table[key]
        if not isinstance(value, list) or len(value) > most:
            raise self.error(key, f"a list of at most {most} entries")
        return value


def _shown(value: object) -> str:
    text = "nothing" if value is None else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
