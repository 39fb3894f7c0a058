"""Steady tones over level x frequency, and silence beside a quiet tone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Annotated, Literal

from annotated_types import Interval

from charprobe.stimulus.kinds.segment import (
    DbfsList,
    Hz,
    HzList,
    Piece,
    Segment,
    SegmentOf,
    Span,
    Spec,
    Tone,
    ToneS,
)
from charprobe.stimulus.kinds.tone_run import ToneRun, ramp_samples, tone_pieces, tones_apart


@dataclass(frozen=True)
class Tones(ToneRun):
    """Steady tones over level x frequency: harmonics.

    Levels rise through the whole run, so no tone is read while the gain recovers from a louder one. At each
    level the highest frequency comes first: it has the most periods to show the gain move by.
    """

    kind: Literal["tones"] = field(default="tones", kw_only=True)
    frequencies_hz: HzList
    levels_dbfs: DbfsList
    tone_s: ToneS

    def place(self, *, start: int, rate_hz: int) -> list[Tone]:
        """Place every level at every frequency: levels rising, frequencies falling at each."""
        falling = sorted(self.frequencies_hz, reverse=True)
        pairs = ((f, level) for level in sorted(self.levels_dbfs) for f in falling)
        return tones_apart(pairs, start=start, tone_s=self.tone_s, rate_hz=rate_hz)


@dataclass(frozen=True)
class Silence(Spec):
    """Silence, then a quiet tone that keeps an idle mute open: noise."""

    kind: Literal["silence"] = field(default="silence", kw_only=True)
    length_s: Annotated[float, Interval(ge=0.2, le=120)]
    tone_s: Annotated[float, Interval(ge=0, le=120)] = 0.0
    tone_hz: Hz = 997.0
    tone_dbfs: Annotated[float, Interval(ge=-120, le=-20)] = -60.0

    def lay_out(self, *, start: int, rate_hz: int) -> Segment:
        """Place the silence, then the quiet tone if the recipe asks for one."""
        silent, sounding = round(self.length_s * rate_hz), round(self.tone_s * rate_hz)
        ramp = min(ramp_samples(rate_hz), sounding)
        tone = Tone(start + silent, sounding, self.tone_hz, self.tone_dbfs, 0.0, ramp, 0)
        return SegmentOf(self, Span(start, silent + sounding), (tone,) if sounding else ())

    def pieces(self, segment: Segment, *, rate_hz: int, side: int) -> Iterator[Piece]:
        """Yield the tone."""
        return tone_pieces(segment.tones, rate_hz=rate_hz)
