"""One table of an untrusted file, read key by key with every value checked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from charprobe.values.errors import RecipeError


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
