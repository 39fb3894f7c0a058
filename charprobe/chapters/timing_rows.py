"""One row per burst condition: gain traces and times of both edges."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from charprobe.chapters.lookup import counterpart, held
from charprobe.cut import Cut
from charprobe.errors import SegmentTooShortError
from charprobe.estimators.gain_trace import GainTrace, trace_edges
from charprobe.estimators.phase_set import Burst, NoCarrierError, bursts_of
from charprobe.estimators.release_kind import ReleaseKind, classify_movement
from charprobe.estimators.timing import EdgeTimes, time_edge
from charprobe.quantity import Quantity
from charprobe.recipe import BurstLengths, Bursts
from charprobe.stimulus import Segment
from charprobe.take import Take

MOST_LEFT = 0.1  # share of a movement still to come from which its stages cannot be counted


@dataclass(frozen=True)
class Row:
    """What one phase set of bursts shows: both gain traces, their times and kinds.

    `release_kind` is None where the edge has no time to classify. `start_s` and `end_s`
    are seconds from the first sample of the capture.
    """

    segment: Segment
    carrier_hz: float
    hold_s: float
    attack_trace: GainTrace
    release_trace: GainTrace
    attack: EdgeTimes
    release: EdgeTimes
    release_kind: ReleaseKind | None
    start_s: float
    end_s: float

    @property
    def from_dbfs(self) -> float:
        """Low level on the input axis."""
        return self.attack_trace.from_dbfs

    @property
    def to_dbfs(self) -> float:
        """High level on the input axis."""
        return self.attack_trace.to_dbfs

    @property
    def reduction_db(self) -> float | None:
        """Gain reduction that the step brings out, positive; None if it never settled."""
        change = self.attack.change
        return -change.value if isinstance(change, Quantity) else None

    @property
    def conditions(self) -> str:
        """The conditions in words."""
        depth = self.reduction_db
        reduction = "" if depth is None else f", {depth:.2f} dB of reduction"
        return (
            f"{self.from_dbfs:.1f} to {self.to_dbfs:.1f} dBFS{reduction}, carrier {self.carrier_hz:g} Hz, "
            f"hold {self.hold_s:g} s, {self.attack_trace.repeats} bursts"
        )


def measure_rows(wet: Take, bypass: Take | None, kind: type[Bursts] | type[BurstLengths]) -> tuple[Row, ...]:
    """Measure every phase set of one kind of segment, in playing order, but for those too short or silent."""
    rows: list[Row] = []
    for segment in held(wet, kind):
        dry = counterpart(bypass, segment)
        reference = bypass.segment(dry) if bypass is not None and dry is not None else None
        capture = wet.segment(segment)
        for bursts in _phase_sets(segment):
            try:
                rows.append(_row(wet, segment, bursts, capture, reference))
            except (SegmentTooShortError, NoCarrierError):
                continue
    return tuple(rows)


def _phase_sets(segment: Segment) -> Iterator[tuple[Burst, ...]]:
    """Bursts of one hold each, in playing order."""
    sets: dict[int, list[Burst]] = {}
    for burst in bursts_of(segment.tones):
        sets.setdefault(burst.hold.length, []).append(burst)
    return (tuple(bursts) for bursts in sets.values())


def _row(wet: Take, segment: Segment, bursts: tuple[Burst, ...], capture: Cut, bypass: Cut | None) -> Row:
    attack_trace, release_trace = trace_edges(capture, bursts=bursts, bypass=bypass)
    attack = time_edge(attack_trace, rest_db=None)
    rest = attack.before.value if isinstance(attack.before, Quantity) else None
    release = time_edge(release_trace, rest_db=rest)
    return Row(
        segment,
        bursts[0].hold.frequency_hz,
        bursts[0].hold.length / capture.rate_hz,
        attack_trace,
        release_trace,
        attack,
        release,
        _kind(release_trace, release),
        wet.capture_time_s(bursts[0].lead.start),
        wet.capture_time_s(bursts[-1].release.stop),
    )


def _kind(trace: GainTrace, times: EdgeTimes) -> ReleaseKind | None:
    known = isinstance(times.before, Quantity) and isinstance(times.after, Quantity)
    if not (known and isinstance(times.t63, Quantity) and times.t63.value > trace.resolution_s):
        return None
    if times.left > MOST_LEFT:
        return None
    assert isinstance(times.before, Quantity) and isinstance(times.after, Quantity)
    return classify_movement(
        trace,
        before_db=times.before.value,
        after_db=times.after.value,
        after_std_db=times.after.std,
        t63_s=times.t63.value,
    )
