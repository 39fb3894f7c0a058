"""Pumping: how far the gain swings in a train of bursts, and how much reduction stays through the pauses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.static.curve import StaticCurve
from charprobe.estimators.timing.edge.settling import gain_before
from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.estimators.timing.trace.phase_set import Burst, NoCarrierError
from charprobe.estimators.timing.trace.trace_edges import trace_edges
from charprobe.measuring.chapters.lookup import absent, counterpart
from charprobe.measuring.chapters.timing.detail import SAME_LEVEL_DB
from charprobe.measuring.chapters.timing.rest import gain_at_rest
from charprobe.measuring.chapters.timing.rows import BurstRow
from charprobe.measuring.chapters.timing.tables import thinned
from charprobe.placing.take import Take, held
from charprobe.profile.entry import Cell, Entry, Published, Table, unmeasured
from charprobe.stimulus.kinds.bursts import BurstTrain
from charprobe.stimulus.kinds.segment import SegmentOf, Tone
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.quantity import Quantity, Reading, Unmeasured, difference_db
from charprobe.values.wording import number_text

NAMES = ("release.train_swing", "release.train_held")
RECIPE = "standard"
SETTLED_SHARE, SETTLED_DB = 0.03, 0.02  # what the last two bursts may differ by in a settled train
LEAST_DB = 0.1  # a swing smaller than this is none


@dataclass(frozen=True)
class Beat:
    """One burst of a train: the gain just before it and at its end, in dB, and the traces of both edges."""

    before: Quantity
    end: Quantity
    attack: GainTrace
    release: GainTrace

    @property
    def swing_db(self) -> float:
        """Gain before the burst less gain at its end."""
        return self.before.value - self.end.value


@dataclass(frozen=True)
class Train:
    """A measured train: its recipe segment and its bursts in playing order."""

    segment: SegmentOf[BurstTrain]
    beats: tuple[Beat, ...]

    @property
    def spec(self) -> BurstTrain:
        """What was played."""
        return self.segment.spec

    @property
    def conditions(self) -> str:
        """The conditions in words."""
        spec, first = self.spec, self.beats[0].attack
        return (
            f"{spec.repeats} bursts of {spec.hold_s:g} s, {spec.pause_s:g} s apart, "
            f"{number_text(first.from_dbfs, 1)} to {number_text(first.to_dbfs, 1)} dBFS, "
            f"carrier {spec.carrier_hz:g} Hz"
        )

    @property
    def settled_after(self) -> int | None:
        """Number of bursts after which the pattern repeats; None if the train ends before it does."""
        before, end = (np.array([q.value for q in side]) for side in zip(*self._levels(), strict=True))
        allowed = max(SETTLED_DB, SETTLED_SHARE * abs(self.beats[-1].swing_db))
        off = np.maximum(np.abs(before - before[-1]), np.abs(end - end[-1])) > allowed
        late = np.flatnonzero(off)
        count = int(late[-1]) + 1 if late.size else 0
        return count if count < len(self.beats) - 1 else None

    def _levels(self) -> list[tuple[Quantity, Quantity]]:
        return [(beat.before, beat.end) for beat in self.beats]


def measure_train(wet: Take, bypass: Take | None) -> Train | None:
    """Measure the first train of a capture; None if there is none, or it does not stand out of the noise."""
    for segment in held(wet, BurstTrain):
        dry = counterpart(bypass, segment)
        reference = bypass.segment(dry) if bypass is not None and dry is not None else None
        try:
            capture = wet.segment(segment)
            traces = [trace_edges(capture, bursts=b, bypass=reference) for b in _bursts(segment.tones)]
        except (SegmentTooShortError, NoCarrierError):
            continue
        beats = (
            Beat(gain_before(attack).quantity, gain_before(release).quantity, attack, release)
            for attack, release in traces
        )
        return Train(segment, tuple(beats))
    return None


def train_entries(
    train: Train | None, wet: Take, static: StaticCurve | None, bursts: Sequence[BurstRow]
) -> dict[str, Entry]:
    """Read the swing of a settled train, and the reduction that its pauses do not undo.

    The gain at rest is that of the level steps, where there are any, else the highest that the capture shows
    before bursts from the same level.
    """
    if train is None and held(wet, BurstTrain):
        return unmeasured(NAMES, "the bursts do not stand out of the noise", "check path and level")
    if train is None:
        return absent(wet, BurstTrain, NAMES, recipe=RECIPE)
    last, first = train.beats[-1], train.beats[0]
    steps = gain_at_rest(
        static, from_dbfs=first.attack.from_dbfs, to_dbfs=first.attack.to_dbfs, held_db=last.end.value
    )
    level = first.attack.from_dbfs
    others = [row.attack.before for row in bursts if abs(row.from_dbfs - level) < SAME_LEVEL_DB]
    seen = [first.before, *(reading for reading in others if isinstance(reading, Quantity))]
    rest = steps or max(seen, key=lambda gain: gain.value)
    readings: dict[str, Reading] = {
        "release.train_swing": difference_db(last.before, last.end),
        "release.train_held": difference_db(rest, last.before),
    }
    if train.settled_after is None:
        reason = f"the gain still drifted after {len(train.beats)} bursts"
        readings = {
            name: Unmeasured("dB", reason, "a train with more bursts, or one designed for this release")
            for name in readings
        }
    return {name: Entry(reading, train.conditions) for name, reading in readings.items()}


def train_sentence(entries: Published, train: Train | None) -> str:
    """Say what a train of bursts does to the gain; empty where nothing moves or nothing is known."""
    swing, kept = (entries[name].reading for name in NAMES)
    if train is None or not (isinstance(swing, Quantity) and isinstance(kept, Quantity)):
        return ""
    if swing.value + kept.value < LEAST_DB:
        return ""
    spec, count = train.spec, train.settled_after
    after = "from the first on" if not count else f"after {count} burst{'s' if count > 1 else ''}"
    return (
        f"In a train of {1e3 * spec.hold_s:g} ms bursts {1e3 * spec.pause_s:g} ms apart the gain swings by "
        f"{swing.value:.1f} dB, settled {after}; {max(kept.value, 0.0):.1f} dB of reduction stay through the "
        "pauses."
    )


def train_tables(train: Train | None) -> dict[str, Table]:
    """The gains burst by burst, and the gain against time through the whole train."""
    if train is None:
        return {}
    beats, spec = train.beats, train.spec
    starts = [number * (spec.hold_s + spec.pause_s) for number in range(len(beats))]
    columns: dict[str, list[Cell]] = {
        "burst": [number + 1 for number in range(len(beats))],
        "start_s": list(starts),
        "stop_s": [start + spec.hold_s for start in starts],
        "before_db": [beat.before.value for beat in beats],
        "end_db": [beat.end.value for beat in beats],
        "std_db": [max(beat.before.std, beat.end.std) for beat in beats],
    }
    units = {name: "s" if name.endswith("_s") else "dB" for name in columns} | {"burst": ""}
    trace: dict[str, list[Cell]] = {"time_s": [], "gain_db": []}
    for number, (start, beat) in enumerate(zip(starts, beats, strict=True)):
        for part, begin, length in (
            (beat.attack, start, spec.hold_s),
            (beat.release, start + spec.hold_s, _low_s(spec, number)),
        ):
            first = -0.5 * spec.lead_s if number == 0 and part is beat.attack else 0.0
            _append(trace, part, begin, first, length)
    return {
        "burst_train": Table(columns, units),
        "burst_train_trace": Table(trace, {"time_s": "s", "gain_db": "dB"}),
    }


def _low_s(spec: BurstTrain, number: int) -> float:
    return spec.release_s if number == spec.repeats - 1 else spec.pause_s


def _append(
    trace: dict[str, list[Cell]], part: GainTrace, begin_s: float, first_s: float, stop_s: float
) -> None:
    for time_s, gain_db, _ in zip(*thinned(part), strict=True):
        if first_s <= time_s < stop_s:
            trace["time_s"].append(round(begin_s + time_s, 9))
            trace["gain_db"].append(gain_db)


def _bursts(tones: Sequence[Tone]) -> list[tuple[Burst, ...]]:
    """Per burst of the train, its repetitions in all carrier phases: low before it, itself, low after it."""
    groups: dict[int, list[Tone]] = {}
    for tone in tones:
        groups.setdefault(tone.group, []).append(tone)
    trains = list(groups.values())
    return [tuple(Burst(*g[i : i + 3]) for g in trains) for i in range(0, len(trains[0]) - 2, 2)]
