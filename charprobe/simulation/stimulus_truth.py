"""True times of the bursts of a played stimulus, from the gain trace the stage left while it played."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.simulation.devices.stage import Stage, delay_samples
from charprobe.simulation.true_times import TrueTimes, over_periods, time_edge
from charprobe.stimulus.kinds.segment import Segment, Tone
from charprobe.values.arrays import Array

SILENT_DBFS = -120.0


@dataclass(frozen=True)
class TrueCondition:
    """One burst condition of a segment: what was played, how long, and the true times of both edges."""

    low_dbfs: float
    high_dbfs: float
    carrier_hz: float
    hold_s: float
    attack: TrueTimes
    release: TrueTimes


def true_conditions(
    stage: Stage, segment: Segment, *, played: Array, gain_db: Array, rate_hz: float
) -> tuple[TrueCondition, ...]:
    """Time every burst condition of a segment on the stage's own gain trace.

    `segment` is of bursts: groups of three tones, low, high and low again. `gain_db` is the
    `StageOutput.gain_db` of the stage for the whole of what was `played`, the stimulus from its first sample.
    One condition per hold time, in playing order; the groups of one are its carrier phases.
    """
    groups: dict[int, list[Tone]] = {}
    for tone in segment.tones:
        groups.setdefault(tone.group, []).append(tone)
    sets: dict[int, list[list[Tone]]] = {}
    for tones in groups.values():
        sets.setdefault(tones[1].length, []).append(tones)
    delay = delay_samples(stage, rate_hz=rate_hz)
    return tuple(_condition(stage, phases, played, gain_db, delay, rate_hz) for phases in sets.values())


def _condition(
    stage: Stage, phases: list[list[Tone]], played: Array, gain_db: Array, delay: int, rate_hz: float
) -> TrueCondition:
    low, high, last = phases[0]
    length = last.stop - low.start
    total, weight = np.zeros(length), np.zeros(length)
    for tones in phases:
        heard = played[tones[0].start : tones[0].start + length] ** 2
        traced = gain_db[tones[0].start + delay : tones[0].start + delay + length]
        total += heard * 10 ** (traced / 20)
        weight += heard
    used = np.flatnonzero(weight > 0)  # a ramp begins at silence
    trace = 20 * np.log10(np.interp(np.arange(length), used, total[used] / weight[used]))
    rise, fall = high.start - low.start, last.start - low.start
    for edge, stop in ((rise, fall), (fall, length)):
        trace = over_periods(trace, edge=edge, stop=stop, period=rate_hz / low.frequency_hz)
    levels = np.array([low.level_dbfs, high.level_dbfs])
    quiet_db, loud_db = stage.static_gain_db(levels, frequency_hz=low.frequency_hz)
    # filters are in the static gain but not in the trace: their part is what both differ by in silence
    silent_db = stage.static_gain_db(np.array([SILENT_DBFS]), frequency_hz=low.frequency_hz)
    beside = float(silent_db[0] - gain_db[0])
    quiet_db, loud_db = quiet_db - beside, loud_db - beside
    return TrueCondition(
        low.level_dbfs,
        high.level_dbfs,
        low.frequency_hz,
        high.length / rate_hz,
        time_edge(trace[:fall], edge=rise, early=delay, end_db=float(loud_db), rate_hz=rate_hz),
        time_edge(trace, edge=fall, early=delay, end_db=float(quiet_db), rate_hz=rate_hz),
    )
