"""The stepped tone: level after level without a gap, rising and falling."""

from __future__ import annotations

import math

from charprobe.stimulus.kinds.tone_run import phase_at, ramp_samples
from charprobe.stimulus.recipe import LevelSteps
from charprobe.stimulus.timetable import Segment, Span, Tone


def step_levels_dbfs(spec: LevelSteps) -> tuple[float, ...]:
    """Levels in playing order; the top step is played once."""
    count = math.floor((spec.to_dbfs - spec.from_dbfs) / spec.step_db + 1e-9)
    rising = [spec.to_dbfs - spec.step_db * (count - i) for i in range(count + 1)]
    return tuple(rising + rising[-2::-1] if spec.falling else rising)


def lay_out_level_steps(spec: LevelSteps, *, start: int, rate_hz: int) -> Segment:
    """Place the steps from stimulus sample `start` on, one group each."""
    length = round(spec.step_s * rate_hz)
    tones: list[Tone] = []
    for group, level_dbfs in enumerate(step_levels_dbfs(spec)):
        position = start + group * length
        phase = phase_at(tones[-1], position, rate_hz=rate_hz) if tones else 0.0
        tones.append(
            Tone(position, length, spec.frequency_hz, level_dbfs, phase, ramp_samples(rate_hz), group)
        )
    return Segment(spec, Span(start, length * len(tones)), tuple(tones))
