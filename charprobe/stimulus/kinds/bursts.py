"""Low-high-low tone bursts in carrier-phase sets."""

from __future__ import annotations

import math
from collections.abc import Sequence

from charprobe.stimulus.kinds.tone_run import GROUP_GAP_S, phase_at, ramp_samples
from charprobe.stimulus.recipe import BurstLengths, Bursts
from charprobe.stimulus.timetable import Segment, Span, Tone


def lay_out_bursts(spec: Bursts, *, start: int, rate_hz: int) -> Segment:
    """Place one phase set; see `edge_phase`."""
    return _lay_out(spec, [spec.hold_s], start=start, rate_hz=rate_hz)


def lay_out_burst_lengths(spec: BurstLengths, *, start: int, rate_hz: int) -> Segment:
    """Place one phase set per hold time, in the recipe's order."""
    return _lay_out(spec, spec.holds_s, start=start, rate_hz=rate_hz)


def edge_phase(k: int, *, phases: int) -> float:
    """Carrier phase, in [0, 2 pi), at which burst `k` of a set meets its rising edge.

    The phase advances by pi / phases and the polarity alternates: the squares of the carriers still add up to
    a constant, and with an odd number of phases from 5 on second-order distortion cancels as well.
    """
    return math.pi * k * (1 + 1 / phases) % (2 * math.pi)


def _lay_out(spec: Bursts | BurstLengths, holds_s: Sequence[float], *, start: int, rate_hz: int) -> Segment:
    lead, release = round(spec.lead_s * rate_hz), round(spec.release_s * rate_hz)
    ramp, gap = ramp_samples(rate_hz), round(GROUP_GAP_S * rate_hz)
    tones: list[Tone] = []
    position = start
    for hold_s in holds_s:
        for k in range(spec.phases):
            group, edge, hold = len(tones) // 3, position + lead, max(1, round(hold_s * rate_hz))
            phase = edge_phase(k, phases=spec.phases)
            high = Tone(edge, hold, spec.carrier_hz, spec.high_dbfs, phase, 0, group)
            for begin, length, soft in ((position, lead, ramp), (high.stop, release, 0)):
                phase = phase_at(high, begin, rate_hz=rate_hz)
                tones.append(Tone(begin, length, spec.carrier_hz, spec.low_dbfs, phase, soft, group))
            tones.insert(-1, high)
            position = tones[-1].stop + gap
    return Segment(spec, Span(start, tones[-1].stop - start), tuple(tones))
