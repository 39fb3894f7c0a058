"""Recipes: what a stimulus is made of, in trade words, checked once on loading."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields
from importlib import resources
from pathlib import Path
from typing import Any, ClassVar, get_args

from charprobe.values.errors import RecipeError

SCHEMA = "charprobe.recipe/1"
MAX_RECIPE_BYTES = 200_000
MAX_SEGMENTS = 200
NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,39}\Z")
MIN_RATE_HZ, MAX_RATE_HZ = 44_100, 192_000
TOP_HZ = 20_000.0  # every recipe must fit the lowest rate
RAMP_S = 0.005  # soft start and end of everything a recipe plays


def _number(low: float, high: float, default: float | None = None) -> Any:
    """Declare a number field with its admissible range."""
    return field(default=MISSING if default is None else default, metadata={"low": low, "high": high})


def _numbers(low: float, high: float) -> Any:
    """Declare a field that lists 1 to 64 numbers, each in the given range."""
    return field(metadata={"low": low, "high": high, "most": 64})


@dataclass(frozen=True)
class LevelSteps:
    """A stepped tone, rising and (by default) falling again: the static curve."""

    kind: ClassVar[str] = "level_steps"
    name: str
    frequency_hz: float = _number(20, TOP_HZ)
    from_dbfs: float = _number(-100, 0)
    to_dbfs: float = _number(-100, 0)
    step_db: float = _number(0.1, 20)
    step_s: float = _number(0.05, 30)
    falling: bool = True
    gap_s: float = _number(0, 60, 0.3)


@dataclass(frozen=True)
class Bursts:
    """Low-high-low tone bursts, repeated with the carrier phase advanced by pi/`phases`."""

    kind: ClassVar[str] = "bursts"
    name: str
    carrier_hz: float = _number(20, TOP_HZ)
    phases: int = _number(1, 32)
    low_dbfs: float = _number(-80, 0)
    high_dbfs: float = _number(-80, 0)
    lead_s: float = _number(0.02, 60)
    hold_s: float = _number(0.001, 60)
    release_s: float = _number(0.02, 60)
    reference: bool = False
    gap_s: float = _number(0, 60, 0.3)


@dataclass(frozen=True)
class BurstLengths:
    """The same phase sets of bursts at several hold times: programme dependence."""

    kind: ClassVar[str] = "burst_lengths"
    name: str
    carrier_hz: float = _number(20, TOP_HZ)
    phases: int = _number(1, 32)
    low_dbfs: float = _number(-80, 0)
    high_dbfs: float = _number(-80, 0)
    lead_s: float = _number(0.02, 60)
    holds_s: tuple[float, ...] = _numbers(0.001, 60)
    release_s: float = _number(0.02, 60)
    gap_s: float = _number(0, 60, 0.3)


@dataclass(frozen=True)
class BurstTrain:
    """Bursts that follow each other at a steady pace, in a phase set: pumping."""

    kind: ClassVar[str] = "burst_train"
    name: str
    carrier_hz: float = _number(20, TOP_HZ)
    phases: int = _number(1, 32)
    low_dbfs: float = _number(-80, 0)
    high_dbfs: float = _number(-80, 0)
    lead_s: float = _number(0.02, 60)
    hold_s: float = _number(0.01, 60)
    pause_s: float = _number(0.01, 60)
    repeats: int = _number(3, 64)
    release_s: float = _number(0.02, 60)
    gap_s: float = _number(0, 60, 0.3)


@dataclass(frozen=True)
class Sweep:
    """A synchronised exponential sine sweep: the response."""

    kind: ClassVar[str] = "sweep"
    name: str
    from_hz: float = _number(5, TOP_HZ)
    to_hz: float = _number(5, 22_000)
    length_s: float = _number(0.5, 120)
    level_dbfs: float = _number(-80, 0)
    gap_s: float = _number(0, 60, 0.3)


@dataclass(frozen=True)
class Tones:
    """Steady tones over level x frequency: harmonics."""

    kind: ClassVar[str] = "tones"
    name: str
    frequencies_hz: tuple[float, ...] = _numbers(20, TOP_HZ)
    levels_dbfs: tuple[float, ...] = _numbers(-100, 0)
    tone_s: float = _number(0.05, 30)
    gap_s: float = _number(0, 60, 0.3)


@dataclass(frozen=True)
class Silence:
    """Silence, then a quiet tone that keeps an idle mute open: noise."""

    kind: ClassVar[str] = "silence"
    name: str
    length_s: float = _number(0.2, 120)
    tone_s: float = _number(0, 120, 0.0)
    tone_hz: float = _number(20, TOP_HZ, 997.0)
    tone_dbfs: float = _number(-120, -20, -60.0)
    gap_s: float = _number(0, 60, 0.3)


@dataclass(frozen=True)
class EqualPeak:
    """Sine, square-like wave, two-tone and multitone at equal peak levels: the detector's law."""

    kind: ClassVar[str] = "equal_peak"
    name: str
    frequency_hz: float = _number(50, 2000)
    levels_dbfs: tuple[float, ...] = _numbers(-100, 0)
    tone_s: float = _number(0.05, 30)
    gap_s: float = _number(0, 60, 0.3)


@dataclass(frozen=True)
class TwoTone:
    """Two tones at once, rising in peak level: intermodulation.

    `lower_over_upper` is the ratio of their amplitudes: 4 for a low and a high tone, 1 for a close pair.
    """

    kind: ClassVar[str] = "two_tone"
    name: str
    lower_hz: float = _number(20, TOP_HZ)
    upper_hz: float = _number(20, TOP_HZ)
    lower_over_upper: float = _number(0.1, 10)
    levels_dbfs: tuple[float, ...] = _numbers(-100, 0)
    tone_s: float = _number(0.05, 30)
    gap_s: float = _number(0, 60, 0.3)


@dataclass(frozen=True)
class Link:
    """One side driven at rising levels beside a quiet pilot on the other, then the other side: stereo link.

    Needs two channels: the stimulus has side 1 on channel 1 and side 2 on channel 2.
    """

    kind: ClassVar[str] = "link"
    name: str
    drive_hz: float = _number(20, TOP_HZ)
    pilot_hz: float = _number(20, TOP_HZ)
    levels_dbfs: tuple[float, ...] = _numbers(-100, 0)
    pilot_dbfs: float = _number(-100, 0)
    tone_s: float = _number(0.1, 30)
    gap_s: float = _number(0, 60, 0.3)


Spec = LevelSteps | Bursts | BurstLengths | BurstTrain | Sweep | Tones | Silence | EqualPeak | TwoTone | Link
KINDS: dict[str, type[Spec]] = {cls.kind: cls for cls in get_args(Spec)}


@dataclass(frozen=True)
class Recipe:
    """A validated recipe: its segments in playing order."""

    name: str
    summary: str
    segments: tuple[Spec, ...]
    peak_dbfs: float = _number(-60, 0, -1.0)
    pre_roll_s: float = _number(0.25, 30, 0.6)
    tail_s: float = _number(0.2, 30, 0.8)
    sync_dbfs: float = _number(-60, -12, -36.0)

    @property
    def hash(self) -> str:
        """SHA-256 of the canonical recipe, 64 hex digits; the ident carries the first 6."""
        text = json.dumps(self.to_dict(), sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()

    def to_dict(self) -> dict[str, Any]:
        """Return the recipe as the plain table a TOML file would hold."""
        table: dict[str, Any] = {"schema": SCHEMA}
        table |= {f.name: getattr(self, f.name) for f in fields(self) if f.name != "segments"}
        table["segment"] = [{"kind": spec.kind} | _plain(spec) for spec in self.segments]
        return table


def _plain(spec: Spec) -> dict[str, Any]:
    return {k: list(v) if isinstance(v, tuple) else v for k, v in dataclasses.asdict(spec).items()}


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
    with path.open("rb") as stream:
        raw = stream.read(MAX_RECIPE_BYTES + 1)
    if len(raw) > MAX_RECIPE_BYTES:
        raise RecipeError(f"{path}: larger than {MAX_RECIPE_BYTES} bytes, too large for a recipe")
    try:
        return parse_recipe(raw.decode("utf-8"), source=str(path))
    except UnicodeDecodeError as error:
        raise RecipeError(f"{path}: not UTF-8 text (byte {error.start}); save the recipe as UTF-8") from None


def parse_recipe(text: str, *, source: str) -> Recipe:
    """Parse and check the TOML text of a recipe; `source` names it in messages."""
    try:
        table = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise RecipeError(f"{source}: not valid TOML: {error}") from None
    return recipe_from_table(table, source=source, text=text)


def recipe_from_table(table: Mapping[str, Any], *, source: str, text: str = "") -> Recipe:
    """Check a plain table and build the recipe; `text` lets messages name the line."""
    where = _Where(source, text)
    if table.get("schema") != SCHEMA:
        raise where.error("schema", found=table.get("schema"), allowed=f'"{SCHEMA}"')
    rows = table.get("segment")
    if not isinstance(rows, list) or not 1 <= len(rows) <= MAX_SEGMENTS:
        raise where.error("segment", found=rows, allowed=f"1 to {MAX_SEGMENTS} [[segment]] tables")
    top = {k: v for k, v in table.items() if k not in ("schema", "segment")}
    segments = tuple(_segment(row, where.segment(i)) for i, row in enumerate(rows))
    names = [spec.name for spec in segments]
    for i, name in enumerate(names):
        if name in names[:i]:
            raise where.segment(i).error("name", found=name, allowed="a name no other segment has")
    recipe = Recipe(segments=segments, **_checked(Recipe, top, where, skip=("segments",)))
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
        return dataclasses.replace(self, index=index)

    def error(self, key: str, *, found: object, allowed: str) -> RecipeError:
        place = self.source + (f", line {line}" if (line := self._line(key)) else "")
        inside = "" if self.index is None else f" of segment {self.index + 1}"
        shown = "nothing" if found is None else repr(found)
        shown = shown if len(shown) <= 80 else shown[:77] + "..."
        return RecipeError(f"{place}: `{key}`{inside} is {shown}; allowed: {allowed}")

    def _line(self, key: str) -> int | None:
        block, header = -1, None
        for number, line in enumerate(self.text.splitlines(), start=1):
            if re.match(r"\s*\[\[\s*segment\s*\]\]", line):
                block, header = block + 1, number
            inside = block == self.index if self.index is not None else block < 0
            if inside and re.match(rf"\s*\"?{re.escape(key)}\"?\s*=", line):
                return number
            if self.index is not None and block > self.index:
                break
            if inside and block >= 0:
                fallback = header
        return fallback if self.index is not None and block >= self.index else None


def _segment(row: object, where: _Where) -> Spec:
    if not isinstance(row, dict):
        raise where.error("segment", found=row, allowed="a [[segment]] table")
    kind = row.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise where.error("kind", found=kind, allowed=", ".join(KINDS))
    cls = KINDS[kind]
    rest = {k: v for k, v in row.items() if k != "kind"}
    return cls(**_checked(cls, rest, where))


def _checked(
    cls: type, table: Mapping[str, Any], where: _Where, skip: tuple[str, ...] = ()
) -> dict[str, Any]:
    known = {f.name: f for f in fields(cls) if f.name not in skip}
    for key in table:
        if key not in known:
            raise where.error(key, found=table[key], allowed="no such key; known keys: " + ", ".join(known))
    values: dict[str, Any] = {}
    for key, spec in known.items():
        if key in table:
            values[key] = _value(key, table[key], spec, where)
        elif spec.default is MISSING:
            raise where.error(key, found=None, allowed=_allowed(spec))
    return values


def _range(spec: dataclasses.Field[Any]) -> str:
    return f"from {spec.metadata['low']:g} to {spec.metadata['high']:g}"


def _allowed(spec: dataclasses.Field[Any]) -> str:
    if spec.name == "name":
        return "a name of small letters, digits, - and _"
    if "most" in spec.metadata:
        return f"a list of 1 to {spec.metadata['most']} numbers {_range(spec)}"
    if "low" in spec.metadata:
        return f"a {'whole number' if spec.type == 'int' else 'number'} {_range(spec)}"
    return "true or false" if spec.type == "bool" else "text of 1 to 300 characters"


def _value(key: str, found: Any, spec: dataclasses.Field[Any], where: _Where) -> Any:
    def in_range(item: Any) -> bool:
        number = isinstance(item, int | float) and not isinstance(item, bool)
        return number and spec.metadata["low"] <= item <= spec.metadata["high"]

    fault = where.error(key, found=found, allowed=_allowed(spec))
    if "most" in spec.metadata:
        if not (
            isinstance(found, list) and 1 <= len(found) <= spec.metadata["most"] and all(map(in_range, found))
        ):
            raise fault
        return tuple(float(item) for item in found)
    if "low" in spec.metadata:
        if not in_range(found) or (spec.type == "int" and not isinstance(found, int)):
            raise fault
        return int(found) if spec.type == "int" else float(found)
    if spec.type == "bool":
        if not isinstance(found, bool):
            raise fault
        return found
    good = isinstance(found, str) and (NAME.match(found) if key == "name" else 1 <= len(found) <= 300)
    if not good:
        raise fault
    return found


def _check_levels(spec: Spec, peak_dbfs: float, where: _Where) -> None:
    """Refuse levels above the recipe's peak and spans that run the wrong way."""
    for f in fields(spec):
        if f.name.endswith("dbfs"):
            value = getattr(spec, f.name)
            highest = max(value) if isinstance(value, tuple) else value
            if highest > peak_dbfs:
                raise where.error(
                    f.name, found=highest, allowed=f"at most the recipe's peak_dbfs, {peak_dbfs:g}"
                )
    spans = (
        ("low_dbfs", "high_dbfs"),
        ("from_dbfs", "to_dbfs"),
        ("from_hz", "to_hz"),
        ("lower_hz", "upper_hz"),
    )
    for low, high in spans:
        if hasattr(spec, low) and getattr(spec, low) >= getattr(spec, high):
            raise where.error(high, found=getattr(spec, high), allowed=f"more than {low}")
