"""Pairs of tones at rising peak levels: intermodulation."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Annotated, ClassVar, Literal

import numpy as np
from annotated_types import Interval

from charprobe.stimulus.kinds.segment import DbfsList, Hz, Piece, Segment, Tone, ToneS
from charprobe.stimulus.kinds.tone_run import ToneRun, faded, tones_apart


@dataclass(frozen=True)
class TwoTone(ToneRun):
    """Two tones at once, rising in peak level: intermodulation.

    `lower_over_upper` is the ratio of their amplitudes: 4 for a low and a high tone, 1 for a close pair.
    """

    kind: Literal["two_tone"] = field(default="two_tone", kw_only=True)
    rising: ClassVar[tuple[str, ...]] = ("lower_hz", "upper_hz")
    lower_hz: Hz
    upper_hz: Hz
    lower_over_upper: Annotated[float, Interval(ge=0.1, le=10)]
    levels_dbfs: DbfsList
    tone_s: ToneS

    def place(self, *, start: int, rate_hz: int) -> list[Tone]:
        """Place the pair at every level.

        Each tone of the timetable stands for a pair: its frequency is the lower one, its level the sum's
        peak.
        """
        pairs = ((self.lower_hz, level) for level in self.levels_dbfs)
        return tones_apart(pairs, start=start, tone_s=self.tone_s, rate_hz=rate_hz)

    def pieces(self, segment: Segment, *, rate_hz: int, side: int) -> Iterator[Piece]:
        """Yield pair after pair; both tones start as cosines and are faded in and out over the ramp."""
        lower = self.lower_over_upper / (1 + self.lower_over_upper)
        for tone in segment.tones:
            n, fade = faded(tone)
            waves = [np.cos(2 * np.pi * ((f / rate_hz * n) % 1.0)) for f in (self.lower_hz, self.upper_hz)]
            pair = lower * waves[0] + (1 - lower) * waves[1]
            yield tone.start, 10 ** (tone.level_dbfs / 20) * fade * pair
