"""Bursts exactly as a stimulus plays them, through a stage: each in its carrier phase, after all that is played before it.

They go on until all has settled; of what is played before, as much is played again as the stage can remember. The first of a
set may follow another rest than the others: what stands for the set is theirs, or its own in the phases of all.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from charprobe.stimulus.kinds.bursts import BurstLengths, Bursts
from charprobe.stimulus.timetable import Stimulus
from tests.benchmarks.zoo.bursts import Burst, BurstTruth, over_periods, times_of
from tests.benchmarks.zoo.stage import Array, Stage, decibels
from tests.benchmarks.zoo.tones import RAMP_S

SPARE_S = 1.0
LEAST_PHASES = 3  # the squares of fewer carriers do not add up to a constant


@dataclass(frozen=True)
class PlayedSet:
    """A burst condition, and the sample at which each burst's lead begins, with the carrier's phase there."""

    burst: Burst
    leads: tuple[tuple[int, float], ...]


def played_sets(stimulus: Stimulus) -> Iterator[PlayedSet]:
    """Every phase set of bursts of a stimulus."""
    for segment in stimulus.segments:
        spec = segment.spec
        if isinstance(spec, Bursts):
            holds: tuple[float, ...] = (spec.hold_s,)
        elif isinstance(spec, BurstLengths):
            holds = spec.holds_s
        else:
            continue
        leads = [(tone.start, tone.phase_rad) for tone in segment.tones[::3]]
        for number, hold_s in enumerate(holds):
            burst = Burst(spec.low_dbfs, spec.high_dbfs, spec.carrier_hz, spec.lead_s, hold_s, spec.release_s)
            yield PlayedSet(burst, tuple(leads[number * spec.phases : (number + 1) * spec.phases]))


def played_truth(stage: Stage, played: PlayedSet, sound: Array, rate_hz: int) -> tuple[BurstTruth, ...]:
    """Times of all bursts of a set, of all but the first, and of all in the place of the first.

    They are of the bursts with a hold in which all settles, and as they are.
    """
    burst = played.burst
    calm = phase_means(stage, played, sound, max(stage.warm_s, 2 * burst.hold_s), 0.05, rate_hz)
    real = phase_means(stage, played, sound, burst.hold_s, max(stage.calm_s, burst.release_s), rate_hz)
    found = []
    for (calm_db, calm_size_db), (real_db, real_size_db) in zip(calm, real, strict=True):
        one = times_of(stage, burst, calm_db, real_db, rate_hz)
        size = times_of(stage, burst, calm_size_db, real_size_db, rate_hz) if stage.turns_phase else None
        found.append(replace(one, turned=size))
    return tuple(found)


def phase_means(
    stage: Stage, played: PlayedSet, sound: Array, hold_s: float, rest_s: float, rate_hz: int
) -> list[tuple[Array, Array]]:
    """Mean gains in dB at every sample, in phase with the tone and of its whole amplitude, of those three."""
    burst, late = played.burst, round(stage.late_s * rate_hz)
    lead, hold, rest = (round(s * rate_hz) for s in (burst.lead_s, hold_s, rest_s))
    edges = [0, lead + late, lead + hold + late, lead + hold + rest]
    own, begin = played.leads, played.leads[0][0]
    first = [(begin, phase) for _, phase in own]
    sums = {one: _sums(stage, burst, one, sound, edges, rate_hz) for one in {*own, *first}}
    found = []
    for leads in (own, own[1:] or own, first):
        parts = [sum(part) for part in zip(*(sums[one] for one in leads), strict=True)]
        if not stage.trace_is_gain or len(leads) < LEAST_PHASES:
            parts = [over_periods(part, edges, rate_hz / burst.carrier_hz) for part in parts]
        inside, across = (part / np.maximum(parts[2], 1e-12) for part in parts[:2])
        found.append((decibels(inside), decibels(np.hypot(inside, across))))
    return found


def _sums(
    stage: Stage, burst: Burst, lead: tuple[int, float], sound: Array, edges: Sequence[int], rate_hz: int
) -> Array:
    """What one burst adds: x y or x² g, the same a quarter turn on, and x², which weighs them."""
    begin, phase = lead
    n, late = np.arange(edges[-1]), round(stage.late_s * rate_hz)
    high = (n >= edges[1] - late) & (n < edges[2] - late)
    level = np.where(high, 10 ** (burst.high_dbfs / 20), 10 ** (burst.low_dbfs / 20))
    level *= np.sin(np.pi / 2 * np.minimum(1.0, (n + 0.5) / round(RAMP_S * rate_hz))) ** 2
    angle = 2 * np.pi * (burst.carrier_hz / rate_hz * n % 1.0) + phase
    kept_s = (
        max(stage.calm_s, stage.remembers_s) + SPARE_S
    )  # whole seconds go: a control clock keeps its time
    before = sound[max(0, int(begin / rate_hz - kept_s)) * rate_hz : begin]
    out = stage.process(np.concatenate([before, level * np.cos(angle)]), rate_hz)
    given = out.sound[before.size :]
    heard, aside = (
        np.concatenate([np.zeros(late), level * part])[: n.size] for part in (np.cos(angle), np.sin(angle))
    )
    of_gain = stage.trace_is_gain and out.gain is not None
    inside = heard * heard * out.gain[before.size :] if of_gain else heard * given
    return np.stack([inside, aside * given, heard * heard])
