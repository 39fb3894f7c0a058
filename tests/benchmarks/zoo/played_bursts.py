"""Times of bursts as a stimulus plays them: a stage may still remember what sounded before.

The first and the last burst of each set are played in many carrier phases, each time after all that the stimulus plays before it
(as much of it as the stage can remember), and go on until all has settled.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from charprobe.stimulus.kinds.bursts import BurstLengths, Bursts
from charprobe.stimulus.timetable import Stimulus
from tests.benchmarks.zoo.bursts import Burst, BurstTruth, phase_mean, times_of
from tests.benchmarks.zoo.stage import Array, Output, Stage

SPARE_S = 1.0


@dataclass(frozen=True)
class PlayedSet:
    """A burst condition and the samples at which the leads of its first and last burst begin."""

    burst: Burst
    begins: tuple[int, int]


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
        leads = [tone.start for tone in segment.tones[::3]]
        for number, hold_s in enumerate(holds):
            own = leads[number * spec.phases : (number + 1) * spec.phases]
            burst = Burst(spec.low_dbfs, spec.high_dbfs, spec.carrier_hz, spec.lead_s, hold_s, spec.release_s)
            yield PlayedSet(burst, (own[0], own[-1]))


def played_truth(stage: Stage, burst: Burst, before: Array, rate_hz: int) -> BurstTruth:
    """Times of a burst that follows some sound."""
    skipped = max(
        0, int(before.size / rate_hz - max(stage.calm_s, stage.remembers_s) - SPARE_S)
    )  # whole seconds: a control clock keeps its time
    before = before[skipped * rate_hz :]

    def process(sound: Array, rate: int) -> Output:
        out = stage.process(np.concatenate([before, sound]), rate)
        return Output(out.sound[before.size :], None if out.gain is None else out.gain[before.size :])

    going_on = replace(stage, process=process, warm_s=0.0, joined=False)
    calm = phase_mean(going_on, burst, max(stage.warm_s, 2 * burst.hold_s), 0.05, rate_hz)
    real = phase_mean(going_on, burst, burst.hold_s, max(stage.calm_s, burst.release_s), rate_hz)
    found = [times_of(going_on, burst, *traces, rate_hz) for traces in zip(calm, real, strict=True)]
    return replace(found[0], turned=found[1] if stage.turns_phase else None)
