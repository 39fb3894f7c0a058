"""Waveforms of other crest factor at the peak levels of sines: what does the detector react to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Annotated, Literal

import numpy as np
from annotated_types import Interval

from charprobe.stimulus.kinds.segment import DbfsList, Piece, Segment, Tone, ToneS
from charprobe.stimulus.kinds.tone_run import ToneRun, faded, tones_apart
from charprobe.stimulus.kinds.waveforms import PER_FUNDAMENTAL, WAVEFORMS


@dataclass(frozen=True)
class EqualPeak(ToneRun):
    """Sine, square-like wave, two-tone and multitone at equal peak levels: the detector's law."""

    kind: Literal["equal_peak"] = field(default="equal_peak", kw_only=True)
    frequency_hz: Annotated[float, Interval(ge=50, le=2000)]
    levels_dbfs: DbfsList
    tone_s: ToneS

    def place(self, *, start: int, rate_hz: int) -> list[Tone]:
        """Place every waveform at every level, in the order of `WAVEFORMS` within each level.

        Each tone of the timetable stands for one waveform: its frequency is the fundamental, its level the
        peak.
        """
        levels = ((self.frequency_hz, level) for level in self.levels_dbfs for _ in WAVEFORMS)
        return tones_apart(levels, start=start, tone_s=self.tone_s, rate_hz=rate_hz)

    def pieces(self, segment: Segment, *, rate_hz: int, side: int) -> Iterator[Piece]:
        """Yield waveform after waveform, each faded in and out over its ramp."""
        for i, tone in enumerate(segment.tones):
            n, fade = faded(tone)
            turns = np.asarray((tone.frequency_hz / PER_FUNDAMENTAL / rate_hz * n) % 1.0)
            wave = WAVEFORMS[i % len(WAVEFORMS)].at(turns) * fade
            yield tone.start, 10 ** (tone.level_dbfs / 20) * wave
