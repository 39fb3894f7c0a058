"""Plain tables become frozen dataclasses: the one validation of what files hold, its messages, its schemas.

The limits stand at the fields of the dataclasses (`charprobe.files.limits`). Values are strict, no key is
unknown or missing, no number is infinite.
"""

from __future__ import annotations

import json
from collections.abc import Hashable
from functools import cache
from typing import TYPE_CHECKING, Any

from charprobe.files.untrusted import Content, Form, PathStep

if TYPE_CHECKING:
    from pydantic import TypeAdapter
    from pydantic_core import ErrorDetails

Node = dict[str, Any]
_UNKNOWN_KEY = "unexpected_keyword_argument"
_NULL = {"type": "null"}
_NAMES = {
    "integer": "a whole number", "number": "a number", "boolean": "true or false", "null": "null",
    "string": "text", "array": "a list",
}  # fmt: skip
_LIMITS = {"array": "Items", "string": "Length", "integer": "imum", "number": "imum"}


def checked(content: Content, form: type[Form]) -> Form:
    """Return the dataclass `form` built from the table; a fault is raised, an unknown key before any other.

    Examples
    --------
    >>> from dataclasses import dataclass
    >>> from charprobe.files.untrusted import FileKind
    >>> from charprobe.values.errors import CharprobeError
    >>> @dataclass(frozen=True)
    ... class Take:
    ...     number: int
    >>> kind = FileKind("take", CharprobeError, 100, 3, "write one")
    >>> checked(Content(kind, "a.json", {"number": 3}), Take)
    Take(number=3)
    >>> checked(Content(kind, "a.json", {"number": 3.5}), Take)
    Traceback (most recent call last):
    charprobe.values.errors.CharprobeError: a.json: `number` is 3.5; allowed: a whole number
    """
    from pydantic_core import ValidationError  # noqa: PLC0415  # slow to import, for reading only

    try:
        (built,) = _adapter(form).validate_json(json.dumps([content.table]))  # type: ignore[arg-type]  # hashable
    except ValidationError as error:
        faults = error.errors(include_url=False, include_input=False)
        raise _told(min(faults, key=lambda fault: fault["type"] != _UNKNOWN_KEY), content, form) from None
    return built  # type: ignore[no-any-return]  # of the type asked for


def schema_of(form: type, *, title: str) -> Node:
    """Return the JSON Schema of the files that `checked` accepts for a dataclass."""
    schema: Node = _adapter(form).json_schema()
    shared = schema["$defs"]
    for node in shared.values():
        if "description" in node:
            node["description"] = node["description"].split("\n\n")[0]
        constant = [key for key, value in node["properties"].items() if "const" in value]
        if constant:
            node["required"] = list(dict.fromkeys([*constant, *node.get("required", ())]))
        for value in node["properties"].values():
            value.pop("title", None)  # only repeats the key
            if patterns := value.get("patternProperties"):
                value["propertyNames"] = value.get("propertyNames", {}) | {"pattern": next(iter(patterns))}
        del node["title"]
    top: Node = shared.pop(form.__name__)
    return (
        {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": title} | top | {"$defs": shared}
    )


@cache
def _adapter(form: Hashable) -> TypeAdapter[Any]:
    from pydantic import ConfigDict, TypeAdapter  # noqa: PLC0415  # slow to import, for reading only

    strict = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)
    # in a tuple, because a dataclass that is shared with the rest of the program carries no configuration
    return TypeAdapter(tuple[form], config=strict)  # type: ignore[valid-type]  # a class known at run time


def _told(fault: ErrorDetails, content: Content, form: type) -> Exception:
    schema = schema_of(form, title="")
    place, node, above = _followed(schema, fault["loc"][1:])
    if fault["loc"][-1:] == ("[key]",):
        allowed = "no such key; keys are " + above["propertyNames"]["description"]
    elif fault["type"] == "value_error":
        allowed = str(fault["ctx"]["error"])
    elif fault["type"] == "json_invalid":
        allowed = "text of whole characters"
    elif fault["type"] == _UNKNOWN_KEY:
        return content.unknown(*place, known=tuple(above.get("properties", ())))
    else:
        allowed = _allowed(schema, node)
    return content.fault(*place, allowed=allowed)


def _followed(schema: Node, steps: tuple[PathStep, ...]) -> tuple[list[PathStep], Node, Node]:
    """Follow a place through the schema: its visible steps, what the schema says there and one step above."""
    place: list[PathStep] = []
    node = above = schema
    for step in steps:
        node = _resolved(schema, node)
        chosen = [part for part in node.get("oneOf", ()) if part.get("$ref", "").endswith(f"/{step}")]
        if chosen:
            node = chosen[0]
            continue
        if step == "[key]":
            return place, node, above
        if "anyOf" in node:
            break
        place.append(step)
        above, node = node, _inside(node, step)
    return place, node, above


def _resolved(schema: Node, node: Node) -> Node:
    """Follow a reference, and see through "or null"."""
    if "$ref" in node:
        return dict(schema["$defs"][node["$ref"].split("/")[-1]])
    parts = [part for part in node.get("anyOf", ()) if part != _NULL]
    return _resolved(schema, parts[0]) if len(parts) == 1 else node


def _inside(node: Node, step: PathStep) -> Node:
    if isinstance(step, int):
        return dict(node.get("items", {}))
    others = [*node.get("patternProperties", {}).values(), node.get("additionalProperties")]
    named = node.get("properties", {}).get(step)
    return named or next((dict(other) for other in others if isinstance(other, dict)), {})


def _allowed(schema: Node, node: Node) -> str:
    """Put into words what the schema allows at a place."""
    if "$ref" in node:
        return _allowed(schema, _resolved(schema, node))
    if parts := node.get("anyOf") or node.get("oneOf"):
        left_out = _NULL if node.get("default", 0) is None else None
        choices = [_allowed(schema, part) for part in parts if part != left_out]
        return _listed([word for word in choices if word != "a whole number" or "a number" not in choices])
    if "const" in node or "enum" in node:
        return _listed([json.dumps(value) for value in node.get("enum", [node.get("const")])])
    kind, says = str(node.get("type", "")), str(node.get("description", ""))
    if kind == "object":
        return "a table" + (f" with {', '.join(node['properties'])}" if "properties" in node else "")
    if kind == "string" and "pattern" in node and says:
        return says
    words = _NAMES.get(kind, "another value")
    span = _span(*(node.get(side + _LIMITS.get(kind, "")) for side in ("min", "max")))
    if span:
        words = {"array": f"{span} entries", "string": f"text of {span} characters"}.get(
            kind, f"{words} {'of' if span.startswith(('up', 'at')) else 'from'} {span}"
        )
    return words + (f" ({says})" if says else "")


def _span(low: float | None, high: float | None) -> str:
    first, last = (str(end) if isinstance(end, int) else f"{end or 0:g}" for end in (low, high))
    if low is None:
        return "" if high is None else f"up to {last}"
    return f"at least {first}" if high is None else f"{first} to {last}"


def _listed(words: list[str]) -> str:
    return ", ".join(words[:-1]) + (" or " if len(words) > 1 else "") + words[-1]
