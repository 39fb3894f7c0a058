"""The JSON text of a profile: laid out to be small and stable, read with nothing taken on trust."""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from typing import Any

from charprobe.files.strict_json import Json, parse_strict
from charprobe.values.errors import ProfileError

MAX_PROFILE_BYTES = 50_000_000
MAX_DEPTH = 12


def render(table: Json) -> str:
    """Return strict JSON text: objects one key a line, lists of plain values on one line."""
    return _laid_out(table, 0) + "\n"


def _laid_out(value: Json, depth: int) -> str:
    pad = " " * (depth + 1)
    parts = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    plain_list = isinstance(value, list) and not any(isinstance(part, dict | list) for part in parts)
    if not parts or plain_list:
        text = json.dumps(value, ensure_ascii=False, allow_nan=False)
        return text.encode("utf-8", "replace").decode("utf-8")  # half a character from an odd file name
    if isinstance(value, list):
        rows = [pad + _laid_out(item, depth + 1) for item in value]
        return "[\n" + ",\n".join(rows) + "\n" + " " * depth + "]"
    rows = [f"{pad}{_laid_out(key, depth)}: {_laid_out(item, depth + 1)}" for key, item in value.items()]
    return "{\n" + ",\n".join(rows) + "\n" + " " * depth + "}"


def parse(text: str, *, source: str) -> dict[str, Json]:
    """Parse and check the JSON text of a profile; `source` names it in messages.

    Raises
    ------
    ProfileError
        If the text is not strict JSON or does not follow the schema; names place, found and wanted.
    """
    try:
        table = parse_strict(text, max_depth=MAX_DEPTH)
    except ValueError as error:
        raise ProfileError(f"{source}: not strict JSON: {error}; measure the capture again") from None
    _check_schema(table, source)
    return dict(table)


@cache
def _validator() -> Any:
    from jsonschema import Draft202012Validator  # noqa: PLC0415  # slow to import, needed only when reading

    text = (resources.files("charprobe.profile") / "profile-1.json").read_text(encoding="utf-8")
    return Draft202012Validator(json.loads(text))


def _check_schema(table: Json, source: str) -> None:
    if not isinstance(table, dict) or table.get("schema") != "charprobe.profile/1":
        found = table.get("schema", "no schema") if isinstance(table, dict) else type(table).__name__
        raise ProfileError(
            f"{source}: not a charprobe profile (found {str(found)[:80]!r}, wanted 'charprobe.profile/1'); "
            "a profile is the JSON file that `charprobe measure` writes"
        )
    fault = next(iter(_validator().iter_errors(table)), None)
    if fault is not None:
        place = "/".join(str(step) for step in fault.absolute_path) or "the top level"
        raise ProfileError(f"{source}: at {place}: {fault.message[:200]}; measure the capture again")
