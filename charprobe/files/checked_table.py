"""What fields of a recipe may hold, declared beside their types, and the check of a table against them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, fields
from typing import Any, get_type_hints

from charprobe.values.errors import CharprobeError


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
