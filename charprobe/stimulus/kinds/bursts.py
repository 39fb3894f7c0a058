"""Low-high-low tone bursts in carrier-phase sets: one by one, at several lengths, and in trains."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import product
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

    def place_trains(
        self, trains: Iterable[Sequence[tuple[float, float]]], *, start: int, rate_hz: int
    ) -> list[Tone]:
        """Place one phase set of each train of bursts: seconds high, and low after it, burst after burst.

        The carrier runs through each train, its phase is that of its first edge. Tones of one train are a
        group: low, then high and low in turn.
        """
        lead, gap = round(self.lead_s * rate_hz), round(GROUP_GAP_S * rate_hz)
        tones: list[Tone] = []
        position = start
        for group, (train, k) in enumerate(product(trains, range(self.phases))):
            phase = edge_phase(k, phases=self.phases)
            edge = Tone(position + lead, 1, self.carrier_hz, self.high_dbfs, phase, 0, group)
            lengths = [max(1, round(time_s * rate_hz)) for burst in train for time_s in burst]
            for turn, length in enumerate([lead, *lengths]):
                level_dbfs = self.high_dbfs if turn % 2 else self.low_dbfs
                ramp = 0 if turn else ramp_samples(rate_hz)
                begun = phase_at(edge, position, rate_hz=rate_hz)
                tones.append(Tone(position, length, self.carrier_hz, level_dbfs, begun, ramp, group))
                position += length
            position += gap
        return tones


@dataclass(frozen=True)
class Bursts(PhaseSet):
    """Low-high-low tone bursts, repeated with the carrier phase advanced by pi/`phases`."""

    kind: Literal["bursts"] = field(default="bursts", kw_only=True)
    hold_s: Annotated[float, Interval(ge=0.001, le=60)]
    release_s: RestS
    reference: bool = False

    def place(self, *, start: int, rate_hz: int) -> list[Tone]:
        """Place one phase set."""
        return self.place_trains([[(self.hold_s, self.release_s)]], start=start, rate_hz=rate_hz)


@dataclass(frozen=True)
class BurstLengths(PhaseSet):
    """The same phase sets of bursts at several hold times: programme dependence."""

    kind: Literal["burst_lengths"] = field(default="burst_lengths", kw_only=True)
    holds_s: Annotated[tuple[Annotated[float, Interval(ge=0.001, le=60)], ...], Len(1, 64)]
    release_s: RestS

    def place(self, *, start: int, rate_hz: int) -> list[Tone]:
        """Place one phase set per hold time, in the recipe's order."""
        trains = [[(hold_s, self.release_s)] for hold_s in self.holds_s]
        return self.place_trains(trains, start=start, rate_hz=rate_hz)


@dataclass(frozen=True)
class BurstTrain(PhaseSet):
    """Bursts that follow each other at a steady pace, in a phase set: pumping."""

    kind: Literal["burst_train"] = field(default="burst_train", kw_only=True)
    hold_s: Annotated[float, Interval(ge=0.01, le=60)]
    pause_s: Annotated[float, Interval(ge=0.01, le=60)]
    repeats: Annotated[int, Interval(ge=3, le=64)]
    release_s: RestS

    def place(self, *, start: int, rate_hz: int) -> list[Tone]:
        """Place one phase set of trains, the last low of each as long as the release."""
        train = [(self.hold_s, self.pause_s)] * (self.repeats - 1) + [(self.hold_s, self.release_s)]
        return self.place_trains([train], start=start, rate_hz=rate_hz)


def edge_phase(k: int, *, phases: int) -> float:
    """Carrier phase, in [0, 2 pi), at which burst `k` of a set meets its rising edge.

    The phase advances by pi / phases and the polarity alternates: the squares of the carriers still add up to
    a constant, and with an odd number of phases from 5 on second-order distortion cancels as well.
    """
    return math.pi * k * (1 + 1 / phases) % (2 * math.pi)
