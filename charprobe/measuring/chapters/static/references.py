"""Quiet tones that stand alone: what the gain of a path was at other times than those of the level steps."""

from __future__ import annotations

from dataclasses import dataclass

from charprobe.estimators.tone import fit_tone
from charprobe.placing.take import Take, held
from charprobe.stimulus.kinds.segment import Tone
from charprobe.stimulus.kinds.steady import Silence
from charprobe.values.quantity import Quantity

SAME_TONE = 0.01  # of frequency, within which another tone has the gain of the steps
SETTLED_FROM, GUARD_S = 0.3, 0.01  # share of a tone left out at its start, and time at its end
MOST_STD_DB = 0.03  # of a level that is used


@dataclass(frozen=True)
class QuietTone:
    """A tone of known level: when it sounded, what was played, what came back."""

    time_s: float
    played_dbfs: float
    level: Quantity


def quiet_tones(take: Take, *, frequency_hz: float) -> tuple[QuietTone, ...]:
    """Read the tones beside the silences of a take that have the frequency of its level steps."""
    found = []
    for segment in held(take, Silence):
        for tone in segment.tones:
            if abs(tone.frequency_hz / frequency_hz - 1) < SAME_TONE and (level := _level(take, tone)):
                found.append(QuietTone(take.capture_time_s(tone.start), tone.level_dbfs, level))
    return tuple(found)


def _level(take: Take, tone: Tone) -> Quantity | None:
    """Level of a tone; None where it is lost in noise or too short."""
    cut = take.cut(tone.start + SETTLED_FROM * tone.length, tone.stop - GUARD_S * take.stimulus.rate_hz)
    if cut.samples.size < (1 - SETTLED_FROM) * tone.length / 2 or not cut.samples.any():
        return None
    found = fit_tone(
        cut, frequency_hz=tone.frequency_hz, phase_origin=float(tone.start), orders=1, refine=True
    ).level(1)
    return found if isinstance(found, Quantity) and found.std < MOST_STD_DB else None
