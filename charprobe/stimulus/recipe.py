"""Recipes: what a stimulus is made of, in trade words, checked once on loading."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from importlib import resources
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from annotated_types import Interval, Len

from charprobe.files.checked_model import checked
from charprobe.files.limits import OneOf
from charprobe.files.untrusted import Content, FileKind, read_text, toml_content
from charprobe.stimulus.kinds.registry import KINDS, AnySpec
from charprobe.stimulus.kinds.segment import Name, Spec
from charprobe.values.errors import RecipeError

SCHEMA = "charprobe.recipe/1"
FILE = FileKind(
    called="recipe",
    error=RecipeError,
    most_bytes=200_000,
    most_depth=6,
    remedy="`charprobe recipes` lists what there is",
    schema=SCHEMA,
)
MAX_SEGMENTS = 200
MIN_RATE_HZ, MAX_RATE_HZ = 44_100, 192_000


@dataclass(frozen=True)
class Recipe:
    """A validated recipe: its segments in playing order."""

    name: str
    summary: str
    segments: tuple[Spec, ...]
    peak_dbfs: float = -1.0
    pre_roll_s: float = 0.6
    tail_s: float = 0.8
    sync_dbfs: float = -36.0

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
    keys = [f.name for f in sorted(fields(record), key=lambda f: f.kw_only is True)]
    values = ((key, getattr(record, key)) for key in keys if key not in ("kind", "segments"))
    return {key: list(value) if isinstance(value, tuple) else value for key, value in values}


@dataclass(frozen=True)
class RecipeForm:
    """The whole file; what is left out of it has its usual value."""

    schema: Literal["charprobe.recipe/1"]
    name: Name
    summary: Annotated[str, Len(1, 300)]
    segment: Annotated[
        tuple[Annotated[AnySpec, OneOf(lambda row: KINDS[row["kind"]].__name__)], ...], Len(1, MAX_SEGMENTS)
    ]
    peak_dbfs: Annotated[float, Interval(ge=-60, le=0)] = Recipe.peak_dbfs
    pre_roll_s: Annotated[float, Interval(ge=0.25, le=30)] = Recipe.pre_roll_s
    tail_s: Annotated[float, Interval(ge=0.2, le=30)] = Recipe.tail_s
    sync_dbfs: Annotated[float, Interval(ge=-60, le=-12)] = Recipe.sync_dbfs


@cache
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
        return _shipped_recipe(name_or_path)
    path = Path(name_or_path)
    if not path.is_file():
        raise RecipeError(
            f"no recipe {str(name_or_path)!r}: neither a shipped recipe ({', '.join(shipped_recipes())}) "
            "nor a TOML file; `charprobe recipes` lists what there is"
        )
    return parse_recipe(read_text(path, FILE), source=str(path))


@cache
def _shipped_recipe(name: str) -> Recipe:
    text = (resources.files("charprobe.recipes") / f"{name}.toml").read_text(encoding="utf-8")
    return parse_recipe(text, source=f"{name}.toml")


def parse_recipe(text: str, *, source: str) -> Recipe:
    """Parse and check the TOML text of a recipe; `source` names it in messages."""
    return _checked(toml_content(text, FILE, source=source))


def recipe_from_table(table: Mapping[str, Any], *, source: str) -> Recipe:
    """Check a plain table and build the recipe; `source` names it in messages."""
    return _checked(Content(FILE, source, table))


def _checked(content: Content) -> Recipe:
    rows = content.table.get("segment")
    for i, row in enumerate(rows if isinstance(rows, list) else ()):
        if not isinstance(row, dict):
            raise content.fault("segment", i, allowed="a [[segment]] table")
        if not isinstance(kind := row.get("kind"), str) or kind not in KINDS:
            raise content.fault("segment", i, "kind", allowed=", ".join(KINDS))
    form = checked(content, RecipeForm)
    names = [spec.name for spec in form.segment]
    for i, spec in enumerate(form.segment):
        if spec.name in names[:i]:
            raise content.fault("segment", i, "name", allowed="a name no other segment has")
        _check_levels(spec, form.peak_dbfs, i, content)
    return Recipe(
        form.name,
        form.summary,
        form.segment,
        peak_dbfs=form.peak_dbfs,
        pre_roll_s=form.pre_roll_s,
        tail_s=form.tail_s,
        sync_dbfs=form.sync_dbfs,
    )


def _check_levels(spec: Spec, peak_dbfs: float, index: int, content: Content) -> None:
    """Refuse levels above the recipe's peak and fields that run the wrong way."""
    for key, value in _plain(spec).items():
        if key.endswith("dbfs") and np.max(value) > peak_dbfs:
            allowed = f"at most the recipe's peak_dbfs, {peak_dbfs:g}"
            raise content.fault("segment", index, key, allowed=allowed)
    for low, high in pairwise(spec.rising):
        if getattr(spec, low) >= getattr(spec, high):
            raise content.fault("segment", index, high, allowed=f"more than {low}")
