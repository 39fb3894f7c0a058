"""Strict JSON from files that nobody vouches for: no NaN, no doubled keys, no bottomless nesting."""

from __future__ import annotations

import json
import math
import re
from typing import Any

Json = Any  # a JSON value; whoever asked for it checks its shape

# a string that nothing closes ends with the text: each character is read once, with no way back to keep
_TOKEN = re.compile(r'"(?:[^"\\]+|\\.)*+"?|[\[{]|[\]}]', re.DOTALL)


def parse_strict(text: str, *, max_depth: int) -> Json:
    """Parse JSON text, refusing what the standard does not allow and what would exhaust memory or stack.

    `ValueError`, with line and column where there is one.

    Examples
    --------
    >>> parse_strict('{"a": [1, 2.5]}', max_depth=3)
    {'a': [1, 2.5]}
    """
    depth = 0
    for token in _TOKEN.finditer(text):
        depth += {"[": 1, "{": 1, "]": -1, "}": -1}.get(token.group(), 0)
        if depth > max_depth:
            line = text.count("\n", 0, token.start()) + 1
            raise ValueError(f"line {line}: nested deeper than {max_depth} levels")
    return json.loads(
        text,
        parse_constant=_no_constant,
        parse_float=_finite,
        parse_int=_whole,
        object_pairs_hook=_no_double_keys,
    )


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is not a JSON number")


def _finite(digits: str) -> float:
    value = float(digits)
    if not math.isfinite(value):
        raise ValueError(f"number {digits[:20]} is out of range")
    return value


def _whole(digits: str) -> int:
    if len(digits.lstrip("-")) > 19:
        raise ValueError(f"number {digits[:20]}... is out of range")
    return int(digits)


def _no_double_keys(pairs: list[tuple[str, Json]]) -> dict[str, Json]:
    table: dict[str, Json] = {}
    for key, value in pairs:
        if key in table:
            raise ValueError(f"key {key[:40]!r} appears twice")
        table[key] = value
    return table
