"""Recipes: what a stimulus is made of, in trade words, checked once on loading."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib import resources
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any

from charprobe.files.checked_table import fields_of, number, read_fields, text_up_to
from charprobe.files.untrusted import FileKind, read_text, toml_content
from charprobe.stimulus.kinds.registry import KINDS
from charprobe.stimulus.kinds.segment import Name, Spec
from charprobe.values.errors import RecipeError

SCHEMA = "charprobe.recipe/1"
FILE = FileKind(
    called="recipe",
    error=RecipeError,
    most_bytes=200_000,
    most_depth=6,
    remedy="a recipe is TOML text in UTF-8",
)
MAX_SEGMENTS = 200
MIN_RATE_HZ, MAX_RATE_HZ = 44_100, 192_000


@dataclass(frozen=True)
class Recipe:
    """A validated recipe: its segments in playing order."""

    name: Name
    summary: Annotated[str, text_up_to(300)]
    segments: tuple[Spec, ...]
    peak_dbfs: Annotated[float, number(-60, 0)] = -1.0
    pre_roll_s: Annotated[float, number(0.25, 30)] = 0.6
    tail_s: Annotated[float, number(0.2, 30)] = 0.8
    sync_dbfs: Annotated[float, number(-60, -12)] = -36.0

    @property
    def hash(self) -> str:
        """SHA-256 of the canonical recipe, 64 hex digits; the ident carries the first 6."""
        text = json.dumps(self.to_dict(), sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()

    def to_dict(self) -> dict[str, Any]:
        """Return the recipe as the plain table a TOML file would hold."""
        rows = [{"kind": spec.kind} | _plain(spec) for spec in self.segments]
        return {"schema": SCHEMA} | _plain(self) | {"segment": rows}


def _plain(record: Recipe | Spec) -> dict[str, Any]:
    values = ((key, getattr(record, key)) for key in fields_of(type(record)))
    return {key: list(value) if isinstance(value, tuple) else value for key, value in values}


def shipped_recipes() -> tuple[str, ...]:
    """Names of the recipes that come with charprobe, alphabetically."""
    folder = resources.files("charprobe.recipes")
    return tuple(sorted(p.name[:-5] for p in folder.iterdir() if p.name.endswith(".toml")))


def shipped_recipe_of(hash_prefix: str) -> Recipe | None:
    """Return the shipped recipe whose hash starts with `hash_prefix`, None if there is none."""
    recipes = map(load_recipe, shipped_recipes())
    return next((recipe for recipe in recipes if recipe.hash.startswith(hash_prefix)), None)


def load_recipe(name_or_path: str | Path) -> Recipe:
    """Load a shipped recipe by name, or any recipe by the path of its TOML file.

    Raises
    ------
    RecipeError
        If the file is missing or not valid; names file, line, key, what was found and what is allowed.
    """
    if isinstance(name_or_path, str) and name_or_path in shipped_recipes():
        text = (resources.files("charprobe.recipes") / f"{name_or_path}.toml").read_text(encoding="utf-8")
        return parse_recipe(text, source=f"{name_or_path}.toml")
    path = Path(name_or_path)
    if not path.is_file():
        raise RecipeError(
            f"no recipe {str(name_or_path)!r}: neither a shipped recipe ({', '.join(shipped_recipes())}) "
            "nor a TOML file; `charprobe recipes` lists what there is"
        )
    return parse_recipe(read_text(path, FILE), source=str(path))


def parse_recipe(text: str, *, source: str) -> Recipe:
    """Parse and check the TOML text of a recipe; `source` names it in messages."""
    return recipe_from_table(toml_content(text, FILE, source=source).table, source=source, text=text)


def recipe_from_table(table: Mapping[str, Any], *, source: str, text: str = "") -> Recipe:
    """Check a plain table and build the recipe; `text` lets messages name the line."""
    where = _Where(source, text)
    if table.get("schema") != SCHEMA:
        raise where.error("schema", table.get("schema"), f'"{SCHEMA}"')
    rows = table.get("segment")
    if not isinstance(rows, list) or not 1 <= len(rows) <= MAX_SEGMENTS:
        raise where.error("segment", rows, f"1 to {MAX_SEGMENTS} [[segment]] tables")
    top = {k: v for k, v in table.items() if k not in ("schema", "segment")}
    segments = tuple(_segment(row, where.segment(i)) for i, row in enumerate(rows))
    names = [spec.name for spec in segments]
    for i, name in enumerate(names):
        if name in names[:i]:
            raise where.segment(i).error("name", name, "a name no other segment has")
    recipe = Recipe(segments=segments, **read_fields(Recipe, top, where.error))
    for i, spec in enumerate(segments):
        _check_levels(spec, recipe.peak_dbfs, where.segment(i))
    return recipe


@dataclass(frozen=True)
class _Where:
    """A place in a recipe file, able to phrase an error about a key there."""

    source: str
    text: str
    index: int | None = None

    def segment(self, index: int) -> _Where:
        return replace(self, index=index)

    def error(self, key: str, found: object, allowed: str) -> RecipeError:
        place = self.source + (f", line {line}" if (line := self._line(key)) else "")
        inside = "" if self.index is None else f" of segment {self.index + 1}"
        shown = "nothing" if found is None else repr(found)
        shown = shown if len(shown) <= 80 else shown[:77] + "..."
        return RecipeError(f"{place}: `{key}`{inside} is {shown}; allowed: {allowed}")

    def _line(self, key: str) -> int | None:
        block, header = -1, None
        for count, line in enumerate(self.text.splitlines(), start=1):
            if re.match(r"\s*\[\[\s*segment\s*\]\]", line):
                block, header = block + 1, count
            inside = block == self.index if self.index is not None else block < 0
            if inside and re.match(rf"\s*\"?{re.escape(key)}\"?\s*=", line):
                return count
            if self.index is not None and block > self.index:
                break
            if inside and block >= 0:
                fallback = header
        return fallback if self.index is not None and block >= self.index else None


def _segment(row: object, where: _Where) -> Spec:
    if not isinstance(row, dict):
        raise where.error("segment", row, "a [[segment]] table")
    kind = row.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise where.error("kind", kind, ", ".join(KINDS))
    cls = KINDS[kind]
    return cls(**read_fields(cls, {k: v for k, v in row.items() if k != "kind"}, where.error))


def _check_levels(spec: Spec, peak_dbfs: float, where: _Where) -> None:
    """Refuse levels above the recipe's peak and fields that run the wrong way."""
    for key in fields_of(type(spec)):
        if key.endswith("dbfs"):
            value = getattr(spec, key)
            highest = max(value) if isinstance(value, tuple) else value
            if highest > peak_dbfs:
                raise where.error(key, highest, f"at most the recipe's peak_dbfs, {peak_dbfs:g}")
    for low, high in pairwise(spec.rising):
        if getattr(spec, low) >= getattr(spec, high):
            raise where.error(high, getattr(spec, high), f"more than {low}")
