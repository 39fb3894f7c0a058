"""Low-high-low tone bursts in carrier-phase sets: one by one, at several lengths, and in trains."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Annotated, ClassVar, Literal

from annotated_types import Interval, Len

from charprobe.stimulus.kinds.segment import Hz, Tone
from charprobe.stimulus.kinds.tone_run import GROUP_GAP_S, ToneRun, phase_at, ramp_samples

LevelDbfs = Annotated[float, Interval(ge=-80, le=0)]
RestS = Annotated[float, Interval(ge=0.02, le=60)]


@dataclass(frozen=True)
class PhaseSet(ToneRun):
    """What all bursts have: a set in which the carrier phase advances by pi/`phases`; see `edge_phase`."""

    rising: ClassVar[tuple[str, ...]] = ("low_dbfs", "high_dbfs")
    carrier_hz: Hz
    phases: Annotated[int, Interval(ge=1, le=32)]
    low_dbfs: LevelDbfs
    high_dbfs: LevelDbfs
    lead_s: RestS


@dataclass(frozen=True)
class Bursts(PhaseSet):
    """Low-high-low tone bursts, repeated with the carrier phase advanced by pi/`phases`."""

    kind: Literal["bursts"] = field(default="bursts", kw_only=True)
    hold_s: Annotated[float, Interval(ge=0.001, le=60)]
    release_s: RestS
    reference: bool = False

    def place(self, *, start: int, rate_hz: int) -> list[Tone]:
        """Place one phase set."""
        return _single_bursts(self, [self.hold_s], self.release_s, start=start, rate_hz=rate_hz)


@dataclass(frozen=True)
class BurstLengths(PhaseSet):
    """The same phase sets of bursts at several hold times: programme dependence."""

    kind: Literal["burst_lengths"] = field(default="burst_lengths", kw_only=True)
    holds_s: Annotated[tuple[Annotated[float, Interval(ge=0.001, le=60)], ...], Len(1, 64)]
    release_s: RestS

    def place(self, *, start: int, rate_hz: int) -> list[Tone]:
        """Place one phase set per hold time, in the recipe's order."""
        return _single_bursts(self, self.holds_s, self.release_s, start=start, rate_hz=rate_hz)


@dataclass(frozen=True)
class BurstTrain(PhaseSet):
    """Bursts that follow each other at a steady pace, in a phase set: pumping."""

    kind: Literal["burst_train"] = field(default="burst_train", kw_only=True)
    hold_s: Annotated[float, Interval(ge=0.01, le=60)]
    pause_s: Annotated[float, Interval(ge=0.01, le=60)]
    repeats: Annotated[int, Interval(ge=3, le=64)]
    release_s: RestS

    def place(self, *, start: int, rate_hz: int) -> list[Tone]:
        """Place one phase set of trains; the carrier runs through each, its phase is that of its first edge.

        Tones of one train are a group: low, then high and low in turn, the last low as long as the release.
        """
        lead, hold, pause, release = (
            max(1, round(time_s * rate_hz))
            for time_s in (self.lead_s, self.hold_s, self.pause_s, self.release_s)
        )
        ramp, gap = ramp_samples(rate_hz), round(GROUP_GAP_S * rate_hz)
        tones: list[Tone] = []
        position = start
        for k in range(self.phases):
            phase = edge_phase(k, phases=self.phases)
            first = Tone(position + lead, hold, self.carrier_hz, self.high_dbfs, phase, 0, k)

            def tone(begin: int, length: int, level_dbfs: float, soft: int, of: Tone = first) -> Tone:
                phase = phase_at(of, begin, rate_hz=rate_hz)
                return Tone(begin, length, self.carrier_hz, level_dbfs, phase, soft, of.group)

            tones.append(tone(position, lead, self.low_dbfs, ramp))
            for turn in range(self.repeats):
                tones.append(tone(tones[-1].stop, hold, self.high_dbfs, 0))
                last = turn == self.repeats - 1
                tones.append(tone(tones[-1].stop, release if last else pause, self.low_dbfs, 0))
            position = tones[-1].stop + gap
        return tones


def edge_phase(k: int, *, phases: int) -> float:
    """Carrier phase, in [0, 2 pi), at which burst `k` of a set meets its rising edge.

    The phase advances by pi / phases and the polarity alternates: the squares of the carriers still add up to
    a constant, and with an odd number of phases from 5 on second-order distortion cancels as well.
    """
    return math.pi * k * (1 + 1 / phases) % (2 * math.pi)


def _single_bursts(
    spec: PhaseSet, holds_s: Sequence[float], release_s: float, *, start: int, rate_hz: int
) -> list[Tone]:
    lead, release = round(spec.lead_s * rate_hz), round(release_s * rate_hz)
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
    return tones
