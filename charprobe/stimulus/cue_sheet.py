"""Cue sheets: what a stimulus file plays and when, kept beside it as strict JSON."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, cast

from charprobe.files.checked_table import CheckedRow
from charprobe.files.output import write_text
from charprobe.files.sample_codes import WrittenEncoding
from charprobe.files.strict_json import parse_strict
from charprobe.stimulus.kinds.segment import Segment, Span, Spec, Tone
from charprobe.stimulus.recipe import MAX_RATE_HZ, MIN_RATE_HZ, Recipe, recipe_from_table
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.errors import RecipeError

SCHEMA = "charprobe.cues/1"
MAX_CUE_SHEET_BYTES = 20_000_000
MAX_DEPTH = 8
MAX_LENGTH = 2 * 3600 * MAX_RATE_HZ  # two hours
MAX_TONES = 50_000  # per segment
MIN_LEVEL_DBFS = -200.0

_SHEET_KEYS = (
    "schema", "rate_hz", "take", "length", "recipe_hash", "recipe", "samples",
    "opening", "ident", "segments", "closing",
)  # fmt: skip
_SEGMENT_KEYS = ("name", "kind", "start", "length", "tones")
_TONE_KEYS = ("start", "length", "frequency_hz", "level_dbfs", "phase_rad", "ramp", "group")


@dataclass(frozen=True)
class CueSheet:
    """A stimulus timetable, and which samples it belongs to.

    Attributes
    ----------
    stimulus : Stimulus
        Everything that is played, to the sample.
    subtype : {"float32", "pcm24"}
        Coding of the samples in the stimulus file.
    sha256 : str
        SHA-256 over the sample bytes of that file alone, interleaved and little-endian as stored, without
        header or padding (`charprobe.files.sample_codes.sample_sha256`), 64 hex digits.
    """

    stimulus: Stimulus
    subtype: WrittenEncoding
    sha256: str


def write_cue_sheet(path: Path, sheet: CueSheet, *, force: bool) -> None:
    """Write the cue sheet; `OutputError` if `path` exists and `force` is False."""
    write_text(path, render_cue_sheet(sheet), force=force)


def render_cue_sheet(sheet: CueSheet) -> str:
    """Return the JSON text, one tone to a line, always the same bytes; positions and lengths in samples."""
    stimulus = sheet.stimulus
    table: dict[str, Any] = {
        "schema": SCHEMA,
        "rate_hz": stimulus.rate_hz,
        "take": stimulus.take,
        "length": stimulus.length,
        "samples": {"subtype": sheet.subtype, "sha256": sheet.sha256},
        "recipe_hash": stimulus.recipe.hash,
        "recipe": stimulus.recipe.to_dict(),
        "opening": asdict(stimulus.opening),
        "ident": asdict(stimulus.ident),
    }
    lines = [f"{_text(key)}: {_text(value)}" for key, value in table.items()]
    segments = ",\n".join(_segment_text(segment) for segment in stimulus.segments)
    lines += [f'"segments": [\n{segments}\n]', f'"closing": {_text(asdict(stimulus.closing))}']
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _segment_text(segment: Segment) -> str:
    head = {"name": segment.spec.name, "kind": segment.spec.kind} | asdict(segment.span)
    tones = ",\n".join(f"  {_text(asdict(tone))}" for tone in segment.tones)
    return f' {_text(head)[:-1]}, "tones": [' + (f"\n{tones}\n ]}}" if tones else "]}")


def _text(value: object) -> str:
    return json.dumps(value, allow_nan=False)


def load_cue_sheet(path: str | Path) -> CueSheet:
    """Load a cue sheet from its JSON file, or from the one beside the stimulus WAV of the same name.

    Raises
    ------
    RecipeError
        If there is none or it is not valid; names file, place, key, what was found and what is allowed.
    """
    path = Path(path)
    sheet = path if path.suffix.lower() == ".json" else path.with_suffix(".json")
    if not sheet.is_file():
        beside = f" beside {path.name}" if sheet != path else ""
        raise RecipeError(
            f"{sheet}: no cue sheet{beside}: `charprobe stimulus` writes it next to the WAV; give the path "
            "of either, or render the recipe again"
        )
    with sheet.open("rb") as stream:
        raw = stream.read(MAX_CUE_SHEET_BYTES + 1)
    if len(raw) > MAX_CUE_SHEET_BYTES:
        raise RecipeError(f"{sheet}: larger than {MAX_CUE_SHEET_BYTES} bytes, too large for a cue sheet")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise RecipeError(f"{sheet}: not UTF-8 text (byte {error.start}): not a cue sheet") from None
    return parse_cue_sheet(text, source=str(sheet))


def parse_cue_sheet(text: str, *, source: str) -> CueSheet:
    """Parse and check the JSON text of a cue sheet; `source` names it in messages.

    Raises
    ------
    RecipeError
        If the text is not strict JSON, if a value is missing, unknown or out of range, or if the parts do not
        fit together: every span inside the stimulus and after the one before, the recipe's hash unchanged.
    """
    try:
        table = parse_strict(text, max_depth=MAX_DEPTH)
    except ValueError as error:
        raise RecipeError(f"{source}: not strict JSON: {error}; render the recipe again") from None
    if not isinstance(table, dict) or table.get("schema") != SCHEMA:
        raise RecipeError(f'{source}: not a cue sheet: `schema` is not "{SCHEMA}"')
    top = CheckedRow(table, source, _SHEET_KEYS)
    rate_hz = top.whole("rate_hz", MIN_RATE_HZ, MAX_RATE_HZ)
    length = top.whole("length", 1, MAX_LENGTH)
    recipe = _recipe(top, source)
    order = _Order(source, length)
    opening = order.place(_span_row(table["opening"], f"{source}: opening"))
    ident = order.place(_span_row(table["ident"], f"{source}: ident"))
    segments = _segments(top, recipe, order, rate_hz)
    closing = order.place(_span_row(table["closing"], f"{source}: closing"))
    stimulus = Stimulus(
        recipe=recipe,
        rate_hz=rate_hz,
        take=top.whole("take", 0, 255),
        opening=opening,
        ident=ident,
        segments=segments,
        closing=closing,
        length=length,
    )
    samples = CheckedRow(table["samples"], f"{source}: samples", ("subtype", "sha256"))
    subtype = cast(WrittenEncoding, samples.choice("subtype", "float32", "pcm24"))
    return CueSheet(stimulus, subtype, samples.hex_code("sha256", 64))


class _Order:
    """Sees to it that spans follow one another inside the stimulus."""

    def __init__(self, source: str, length: int) -> None:
        self.source, self.length, self.reached = source, length, 0

    def place(self, row: CheckedRow) -> Span:
        """Check the `start` and `length` of a row against what has been placed before it."""
        start = row.whole("start", self.reached, self.length)
        span = Span(start, row.whole("length", 1, self.length - start))
        self.reached = span.stop
        return span


def _span_row(table: object, place: str) -> CheckedRow:
    return CheckedRow(table, place, ("start", "length"))


def _recipe(top: CheckedRow, source: str) -> Recipe:
    table = top.table["recipe"]
    if not isinstance(table, dict):
        raise top.error("recipe", "the table of a recipe")
    recipe = recipe_from_table(table, source=f"{source}: recipe")
    if top.hex_code("recipe_hash", 64) != recipe.hash:
        raise top.error("recipe_hash", f'"{recipe.hash}", that of the recipe given here; one was edited')
    return recipe


def _segments(top: CheckedRow, recipe: Recipe, order: _Order, rate_hz: int) -> tuple[Segment, ...]:
    tables = top.rows("segments", len(recipe.segments))
    if len(tables) != len(recipe.segments):
        raise RecipeError(
            f"{order.source}: `segments` holds {len(tables)} entries; allowed: {len(recipe.segments)}, one "
            "for each segment of the recipe"
        )
    return tuple(
        _segment(CheckedRow(table, f"{order.source}: segment {i + 1}", _SEGMENT_KEYS), spec, order, rate_hz)
        for i, (table, spec) in enumerate(zip(tables, recipe.segments, strict=True))
    )


def _segment(row: CheckedRow, spec: Spec, order: _Order, rate_hz: int) -> Segment:
    row.choice("name", spec.name)
    row.choice("kind", spec.kind)
    span = order.place(row)
    tones: list[Tone] = []
    for i, table in enumerate(row.rows("tones", MAX_TONES)):
        tone = CheckedRow(table, f"{row.place}, tone {i + 1}", _TONE_KEYS)
        tones.append(_tone(tone, span, tones[-1] if tones else None, rate_hz))
    return Segment(spec, span, tuple(tones))


def _tone(row: CheckedRow, span: Span, before: Tone | None, rate_hz: int) -> Tone:
    start = row.whole("start", before.stop if before else span.start, span.stop - 1)
    length = row.whole("length", 1, span.stop - start)
    return Tone(
        start=start,
        length=length,
        frequency_hz=row.number("frequency_hz", 1.0, rate_hz / 2),
        level_dbfs=row.number("level_dbfs", MIN_LEVEL_DBFS, 0.0),
        phase_rad=row.number("phase_rad", -2 * math.pi, 2 * math.pi),
        ramp=row.whole("ramp", 0, length),
        group=row.whole("group", before.group if before else 0, before.group + 1 if before else 0),
    )
