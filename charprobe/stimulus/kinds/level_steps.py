"""The stepped tone: level after level without a gap, rising and falling."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Annotated, ClassVar, Literal

from annotated_types import Interval

from charprobe.stimulus.kinds.segment import Dbfs, Hz, Tone, ToneS
from charprobe.stimulus.kinds.tone_run import ToneRun, phase_at, ramp_samples


@dataclass(frozen=True)
class LevelSteps(ToneRun):
    """A stepped tone, rising and (by default) falling again: the static curve."""

    kind: Literal["level_steps"] = field(default="level_steps", kw_only=True)
    rising: ClassVar[tuple[str, ...]] = ("from_dbfs", "to_dbfs")
    frequency_hz: Hz
    from_dbfs: Dbfs
    to_dbfs: Dbfs
    step_db: Annotated[float, Interval(ge=0.1, le=20)]
    step_s: ToneS
    falling: bool = True

    @property
    def levels_dbfs(self) -> tuple[float, ...]:
        """Levels in playing order; the top step is played once."""
        count = math.floor((self.to_dbfs - self.from_dbfs) / self.step_db + 1e-9)
        rising = [self.to_dbfs - self.step_db * (count - i) for i in range(count + 1)]
        return tuple(rising + rising[-2::-1] if self.falling else rising)

    def place(self, *, start: int, rate_hz: int) -> list[Tone]:
        """Place the steps, one group each."""
        length, ramp = round(self.step_s * rate_hz), ramp_samples(rate_hz)
        tones: list[Tone] = []
        for group, level_dbfs in enumerate(self.levels_dbfs):
            position = start + group * length
            phase = phase_at(tones[-1], position, rate_hz=rate_hz) if tones else 0.0
            tones.append(Tone(position, length, self.frequency_hz, level_dbfs, phase, ramp, group))
        return tones
