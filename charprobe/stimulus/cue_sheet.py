"""Cue sheets: what a stimulus file plays and when, kept beside it as strict JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from annotated_types import Interval, MaxLen, MinLen

from charprobe.files.checked_model import checked
from charprobe.files.limits import Sha256
from charprobe.files.sound.sample_codes import WrittenEncoding
from charprobe.files.untrusted import Content, FileKind, PathStep, json_content, read_text
from charprobe.stimulus.kinds.segment import Length, Position, Segment, Span, Tone
from charprobe.stimulus.recipe import MAX_RATE_HZ, MIN_RATE_HZ, Recipe, recipe_from_table
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.errors import RecipeError

SCHEMA = "charprobe.cues/1"
FILE = FileKind(
    called="cue sheet",
    error=RecipeError,
    most_bytes=20_000_000,
    most_depth=8,
    remedy="`charprobe stimulus` writes it next to the WAV",
    mend="render the recipe again",
    schema=SCHEMA,
)
MAX_LENGTH = 2 * 3600 * MAX_RATE_HZ  # two hours


@dataclass(frozen=True)
class SamplesForm:
    """Coding of the samples in the stimulus file, and SHA-256 over their bytes as stored."""

    subtype: WrittenEncoding
    sha256: Sha256


@dataclass(frozen=True)
class SegmentForm:
    """A segment of the recipe, placed; a sweep has no tones."""

    name: str
    kind: str
    start: Position
    length: Length
    tones: Annotated[tuple[Tone, ...], MaxLen(50_000)]


@dataclass(frozen=True)
class CueForm:
    """What a stimulus file plays and when, in samples from the first of the stimulus."""

    schema: Literal["charprobe.cues/1"]
    rate_hz: Annotated[int, Interval(ge=MIN_RATE_HZ, le=MAX_RATE_HZ)]
    take: Annotated[int, Interval(ge=0, le=255)]
    length: Annotated[int, Interval(ge=1, le=MAX_LENGTH)]
    samples: SamplesForm
    recipe_hash: Sha256
    recipe: Mapping[str, Any]
    opening: Span
    ident: Span
    segments: Annotated[tuple[SegmentForm, ...], MinLen(1)]
    closing: Span


@dataclass(frozen=True)
class CueSheet:
    """A stimulus timetable, and which samples it belongs to: their coding in the file, and their hash.

    `sha256` is over the sample bytes of that file alone, interleaved and little-endian as stored, without
    header or padding, 64 hex digits.
    """

    stimulus: Stimulus
    subtype: WrittenEncoding
    sha256: str


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

    `RecipeError` if there is none or it is not valid names place, key, what was found and what is allowed.
    """
    path = Path(path)
    sheet = path if path.suffix.lower() == ".json" else path.with_suffix(".json")
    if not sheet.is_file():
        beside = f" beside {path.name}" if sheet != path else ""
        raise RecipeError(
            f"{sheet}: no cue sheet{beside}: `charprobe stimulus` writes it next to the WAV; give the path "
            "of either, or render the recipe again"
        )
    return parse_cue_sheet(read_text(sheet, FILE), source=str(sheet))


def load_stimulus(path: str | Path) -> Stimulus:
    """Load what a stimulus file plays: the stimulus of the cue sheet that `load_cue_sheet` finds."""
    return load_cue_sheet(path).stimulus


def parse_cue_sheet(text: str, *, source: str) -> CueSheet:
    """Parse and check the JSON text of a cue sheet; `source` names it in messages.

    `RecipeError` if the text is not strict JSON, if a value is missing, unknown or out of range, or if the
    parts do not fit together: every span inside the stimulus and after the one before, the recipe's hash
    unchanged.
    """
    content = json_content(text, FILE, source=source)
    form = checked(content, CueForm)
    recipe = recipe_from_table(form.recipe, source=f"{source}: recipe")
    if form.recipe_hash != recipe.hash:
        same = f'"{recipe.hash}", that of the recipe given here; one was edited'
        raise content.fault("recipe_hash", allowed=same)
    order = _Order(content, form.length)
    stimulus = Stimulus(  # in the order of what is played
        recipe=recipe,
        rate_hz=form.rate_hz,
        take=form.take,
        opening=order.place(form.opening, "opening"),
        ident=order.place(form.ident, "ident"),
        segments=_segments(form, recipe, order),
        closing=order.place(form.closing, "closing"),
        length=form.length,
    )
    return CueSheet(stimulus, form.samples.subtype, form.samples.sha256)


class _Order:
    """Sees to it that spans follow one another inside the stimulus."""

    def __init__(self, content: Content, length: int) -> None:
        self.content, self.length, self.reached = content, length, 0

    def place(self, span: Span, *place: PathStep) -> Span:
        """Check a span against what has been placed before it."""
        self.within(span.start, self.reached, self.length, *place, "start")
        self.within(span.length, 1, self.length - span.start, *place, "length")
        self.reached = span.stop
        return span

    def within(self, value: float, low: float, high: float, *place: PathStep) -> None:
        """Refuse a value that does not fit those around it."""
        if not low <= value <= high:
            kind = "a whole number" if isinstance(value, int) else "a number"
            raise self.content.fault(*place, allowed=f"{kind} from {low} to {high}")


def _segments(form: CueForm, recipe: Recipe, order: _Order) -> tuple[Segment, ...]:
    if len(form.segments) != len(recipe.segments):
        count = f"{len(recipe.segments)} entries, one for each segment of the recipe"
        raise order.content.fault("segments", allowed=count)
    segments = []
    for i, (row, spec) in enumerate(zip(form.segments, recipe.segments, strict=True)):
        for key, found, own in (("name", row.name, spec.name), ("kind", row.kind, spec.kind)):
            if found != own:
                raise order.content.fault("segments", i, key, allowed=f'"{own}"')
        span = order.place(Span(row.start, row.length), "segments", i)
        _check_tones(row.tones, span, order, i, form.rate_hz)
        segments.append(Segment(spec, span, row.tones))
    return tuple(segments)


def _check_tones(tones: tuple[Tone, ...], span: Span, order: _Order, segment: int, rate_hz: int) -> None:
    """Refuse tones outside their segment, above half the rate or out of order."""
    reached, group = span.start, -1
    for i, tone in enumerate(tones):
        place = ("segments", segment, "tones", i)
        order.within(tone.start, reached, span.stop - 1, *place, "start")
        order.within(tone.length, 1, span.stop - tone.start, *place, "length")
        order.within(tone.frequency_hz, 1.0, rate_hz / 2, *place, "frequency_hz")
        order.within(tone.ramp, 0, tone.length, *place, "ramp")
        order.within(tone.group, max(group, 0), group + 1, *place, "group")
        reached, group = tone.stop, tone.group
