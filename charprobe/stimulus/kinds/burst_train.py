"""Trains of bursts at a steady pace, in carrier-phase sets."""

from __future__ import annotations

from charprobe.stimulus.kinds.bursts import edge_phase
from charprobe.stimulus.kinds.tone_run import GROUP_GAP_S, phase_at, ramp_samples
from charprobe.stimulus.recipe import BurstTrain
from charprobe.stimulus.timetable import Segment, Span, Tone


def lay_out_burst_train(spec: BurstTrain, *, start: int, rate_hz: int) -> Segment:
    """Place one phase set of trains; the carrier runs through each, and its phase is that of its first edge.

    Tones of one train are a group: low, then high and low in turn, the last low as long as the release.
    """
    lead, hold, pause, release = (
        max(1, round(time_s * rate_hz)) for time_s in (spec.lead_s, spec.hold_s, spec.pause_s, spec.release_s)
    )
    ramp, gap = ramp_samples(rate_hz), round(GROUP_GAP_S * rate_hz)
    tones: list[Tone] = []
    position = start
    for k in range(spec.phases):
        phase = edge_phase(k, phases=spec.phases)
        first = Tone(position + lead, hold, spec.carrier_hz, spec.high_dbfs, phase, 0, k)

        def tone(begin: int, length: int, level_dbfs: float, soft: int, of: Tone = first) -> Tone:
            phase = phase_at(of, begin, rate_hz=rate_hz)
            return Tone(begin, length, spec.carrier_hz, level_dbfs, phase, soft, of.group)

        tones.append(tone(position, lead, spec.low_dbfs, ramp))
        for number in range(spec.repeats):
            tones.append(tone(tones[-1].stop, hold, spec.high_dbfs, 0))
            last = number == spec.repeats - 1
            tones.append(tone(tones[-1].stop, release if last else pause, spec.low_dbfs, 0))
        position = tones[-1].stop + gap
    return Segment(spec, Span(start, tones[-1].stop - start), tuple(tones))
