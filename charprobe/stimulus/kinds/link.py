"""Stereo link: one side is driven step by step beside a quiet pilot on the other, then the other side."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Annotated, ClassVar, Literal

import numpy as np
from annotated_types import Interval

from charprobe.stimulus.kinds.segment import Dbfs, DbfsList, Hz, Piece, Segment, SegmentOf, Span, Spec, Tone
from charprobe.stimulus.kinds.tone_run import ramp_samples, tone_pieces

HALVES_GAP_S = 1.0  # what one side was driven to has died away before the other is driven


@dataclass(frozen=True)
class Link(Spec):
    """One side driven at rising levels beside a quiet pilot on the other, then the other side: stereo link.

    Needs two channels: the stimulus has side 1 on channel 1 and side 2 on channel 2.
    """

    kind: Literal["link"] = field(default="link", kw_only=True)
    sides_alike: ClassVar[bool] = False
    drive_hz: Hz
    pilot_hz: Hz
    levels_dbfs: DbfsList
    pilot_dbfs: Dbfs
    tone_s: Annotated[float, Interval(ge=0.1, le=30)]

    def lay_out(self, *, start: int, rate_hz: int) -> Segment:
        """Place both halves; `tones` stays empty, since each side plays its own: see `side_tones`."""
        half = len(self.levels_dbfs) * round(self.tone_s * rate_hz)
        return SegmentOf(self, Span(start, 2 * half + round(HALVES_GAP_S * rate_hz)), ())

    def pieces(self, segment: Segment, *, rate_hz: int, side: int) -> Iterator[Piece]:
        """Yield what one side plays; both sides' pieces lie side by side."""
        driven, pilot = self.side_tones(segment.span, side, rate_hz=rate_hz)
        tones = sorted((*driven, *pilot), key=lambda tone: tone.start)
        return tone_pieces(tones, rate_hz=rate_hz)

    def side_tones(
        self, span: Span, side: int, *, rate_hz: float
    ) -> tuple[tuple[Tone, ...], tuple[Tone, ...]]:
        """Tones that one side plays when driven, one per level, and as the pilot, beside each level.

        `span` is where the segment lies; side 1 is driven first.
        """
        length, ramp = round(self.tone_s * rate_hz), ramp_samples(round(rate_hz))
        count = len(self.levels_dbfs)
        second = span.stop - count * length
        first_start, then_start = (span.start, second) if side == 1 else (second, span.start)

        def run(start: int, frequency_hz: float, levels_dbfs: tuple[float, ...]) -> tuple[Tone, ...]:
            tones = []
            for i, level in enumerate(levels_dbfs):
                turns = (frequency_hz * i * length / rate_hz) % 1.0
                at = start + i * length
                tones.append(Tone(at, length, frequency_hz, level, 2 * np.pi * turns, ramp, 0))
            return tuple(tones)

        driven = run(first_start, self.drive_hz, self.levels_dbfs)
        return driven, run(then_start, self.pilot_hz, (self.pilot_dbfs,) * count)
