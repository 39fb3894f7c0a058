"""One row per burst condition: gain traces and times of both edges."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from charprobe.estimators.static.curve import StaticCurve
from charprobe.estimators.timing.edge.edge_reader import time_of
from charprobe.estimators.timing.edge.settling import gain_before
from charprobe.estimators.timing.edge.times import SMALLEST_DB, EdgeTimes, believed, time_edge
from charprobe.estimators.timing.release_kind import ReleaseKind, classify_movement
from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.estimators.timing.trace.phase_set import Burst, NoCarrierError, bursts_of
from charprobe.estimators.timing.trace.scatter import OddStart
from charprobe.estimators.timing.trace.trace_edges import trace_edges
from charprobe.measuring.chapters.lookup import counterpart
from charprobe.measuring.chapters.timing.rest import gain_at_rest, reduced_at_rest
from charprobe.placing.take import Take, held
from charprobe.stimulus.kinds.bursts import BurstLengths, Bursts, PhaseSet
from charprobe.stimulus.kinds.segment import Segment
from charprobe.values.cut import Cut
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.quantity import Quantity, Reading, Unmeasured
from charprobe.values.wording import number_text

START_OF = 2.0  # standard uncertainties by which bursts must start away from rest for it to be told
START_SHARE = 1 / 3  # of what was left to go, that doubts an attack: shares of a smoother in dB move by none
MOST_SHORT = 0.1  # share of the change by which they may, for the attack to be timed at all
EARLY = 0.05  # share of the change that the delay waits for
MOST_LEFT = 0.1  # share of a movement still to come from which its stages cannot be counted


@dataclass(frozen=True)
class BurstRow:
    """What one phase set of bursts shows: both gain traces, their times and kinds.

    `left_out` is the burst left out of the attack because it alone started from another gain;
    `starts_short_db` is how far the gain before the attack lies below the one at rest, where sure, else 0;
    `start_unsure_db` is that, or how far it may lie there unseen;
    `charged` tells that besides something fills from burst to burst: none shows the release from rest;
    `pause_s` is the time from one burst to the next, None of a single one;
    `release_kind` is None where the edge has no time to classify. `start_s` and `end_s` are seconds from the
    first sample of the capture.
    """

    segment: Segment
    carrier_hz: float
    hold_s: float
    pause_s: float | None
    attack_trace: GainTrace
    release_trace: GainTrace
    attack: EdgeTimes
    release: EdgeTimes
    left_out: OddStart | None
    starts_short_db: float
    start_unsure_db: float
    charged: bool
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
    def step(self) -> tuple[float, float, float]:
        """Carrier, low and high level as played: what bursts of unlike lengths have in common."""
        spec = self.segment.spec
        assert isinstance(spec, PhaseSet)
        return spec.carrier_hz, spec.low_dbfs, spec.high_dbfs

    @property
    def reduction_db(self) -> float | None:
        """Gain reduction that the step brings out, positive; None if it never settled."""
        change = self.attack.change
        return -change.value if isinstance(change, Quantity) else None

    @property
    def _played(self) -> str:
        """The bursts in words: a stage that remembers is what they make it."""
        if self.pause_s is None:
            return f"one burst of {self.hold_s:g} s"
        return f"as played by bursts of {self.hold_s:g} s with {self.pause_s:.3g} s between them"

    @property
    def conditions(self) -> str:
        """The conditions in words."""
        depth = self.reduction_db
        reduction = (
            "" if depth is None else f", {abs(depth):.2f} dB of {'reduction' if depth > 0 else 'lift'}"
        )
        return (
            f"{number_text(self.from_dbfs, 1)} to {number_text(self.to_dbfs, 1)} dBFS{reduction}, "
            f"carrier {self.carrier_hz:g} Hz, {self._played}, gain averaged over "
            f"{self.attack_trace.repeats} carrier phases"
        )


def measure_rows(wet: Take, bypass: Take | None, static: StaticCurve | None) -> tuple[BurstRow, ...]:
    """Measure every phase set: those of one hold, then those of several; not those too short or silent."""
    rows: list[BurstRow] = []
    for segment in (*held(wet, Bursts), *held(wet, BurstLengths)):
        dry = counterpart(bypass, segment)
        reference = bypass.segment(dry) if bypass is not None and dry is not None else None
        capture = wet.segment(segment)
        for bursts in _phase_sets(segment):
            try:
                rows.append(_row(wet, segment, bursts, capture, reference, static))
            except (SegmentTooShortError, NoCarrierError):
                continue
    attacks = believed([row.attack for row in rows])
    rows = [replace(row, attack=attack) for row, attack in zip(rows, attacks, strict=True)]
    return tuple(_toward_longest(rows))


def _toward_longest(rows: list[BurstRow]) -> list[BurstRow]:
    """Time attacks of bursts too short for the gain to settle against where it settles in the longest."""
    out = []
    for row in rows:
        alike = (other for other in rows if other.step == row.step)
        longest = max(alike, key=lambda other: other.hold_s)
        if longest.hold_s > row.hold_s and _better(longest.attack.after, row.attack):
            assert isinstance(longest.attack.after, Quantity)
            attack = time_edge(row.attack_trace, rest_db=None, rest=longest.attack.after)
            row = replace(row, attack=_doubted(attack, row.start_unsure_db))  # noqa: PLW2901  # the same row, timed better
        out.append(row)
    return out


def _better(after: Reading, attack: EdgeTimes) -> bool:
    """Whether the gain an attack settles at is known better than from its own burst."""
    own = attack.after
    if not isinstance(after, Quantity):
        return False
    return bool(attack.left) or not isinstance(own, Quantity) or own.std > after.std


def _phase_sets(segment: Segment) -> Iterator[tuple[Burst, ...]]:
    """Bursts of one hold each, in playing order."""
    sets: dict[int, list[Burst]] = {}
    for burst in bursts_of(segment.tones):
        sets.setdefault(burst.hold.length, []).append(burst)
    return (tuple(bursts) for bursts in sets.values())


def _row(
    wet: Take,
    segment: Segment,
    bursts: tuple[Burst, ...],
    capture: Cut,
    bypass: Cut | None,
    static: StaticCurve | None,
) -> BurstRow:
    attack_trace, release_trace = trace_edges(capture, bursts=bursts, bypass=bypass)
    odd = attack_trace.scatter.odd
    if odd is not None:
        others = (*bursts[: odd.repetition], *bursts[odd.repetition + 1 :])
        attack_trace, _ = trace_edges(capture, bursts=others, bypass=bypass)
    attack = time_edge(attack_trace, rest_db=None)
    lead = attack.before
    held_db = gain_before(release_trace).value_db
    both_db = attack_trace.both_ways_db(release_trace.most_passed_s)
    begun = gain_before(attack_trace)
    reduced = reduced_at_rest(static, attack_trace, lead=begun, held_db=held_db, both_db=both_db)
    rest, short_db, unsure_db = _rest(static, lead, attack_trace, held_db, both_db if reduced else None)
    release = time_edge(
        release_trace,
        rest_db=lead.value if isinstance(lead, Quantity) else None,
        rest=rest,
        on_crests=reduced,
    )
    start_unsure_db = short_db or max(unsure_db, _left_at_start_db(lead, release.after))
    last, following = bursts[0].hold.stop, (burst.hold.start for burst in bursts[1:])
    return BurstRow(
        segment,
        bursts[0].hold.frequency_hz,
        bursts[0].hold.length / capture.rate_hz,
        next(((start - last) / capture.rate_hz for start in following), None),
        attack_trace,
        release_trace,
        _doubted(attack, start_unsure_db),
        release,
        odd,
        short_db,
        start_unsure_db,
        bool(short_db) and release_trace.fills,
        _kind(release_trace, release),
        wet.capture_time_s(bursts[0].lead.start),
        wet.capture_time_s(bursts[-1].release.stop),
    )


def _rest(
    static: StaticCurve | None, lead: Reading, attack: GainTrace, held_db: float, both_db: float | None
) -> tuple[Quantity | None, float, float]:
    """Gain at rest at the low level; how far bursts start below it, where sure; how far they may unseen."""
    rest = gain_at_rest(static, from_dbfs=attack.from_dbfs, to_dbfs=attack.to_dbfs, held_db=held_db)
    if static is None or rest is None or not isinstance(lead, Quantity):
        return rest, 0.0, 0.0
    missing_db = rest.value - lead.value
    apart_db, unsure_db = min(rest.std, abs(missing_db)), 0.0
    if both_db is not None:  # the low level itself is reduced
        apart_db = unsure_db = min(both_db, apart_db)
        missing_db = min(missing_db, both_db)
    if missing_db > START_OF * math.hypot(lead.std, rest.std):
        return rest, missing_db, unsure_db
    # bursts that start at rest show that gain with their own carrier, but may still fall short of it
    short_db = min(apart_db, max(0.0, missing_db)) / 2
    return Quantity.from_std(lead.value + short_db, math.hypot(lead.std, apart_db), "dB"), 0.0, unsure_db


def _left_at_start_db(lead: Reading, after: Reading) -> float:
    """Doubt of an attack by what the release before had left to go, where its end is known so well."""
    if not (isinstance(lead, Quantity) and isinstance(after, Quantity)):
        return 0.0
    missing = after.value - lead.value
    return START_SHARE * missing if missing > START_OF * math.hypot(lead.std, after.std) else 0.0


def _doubted(attack: EdgeTimes, missing_db: float) -> EdgeTimes:
    """Doubt an attack that starts so far from rest, by that share of its change."""
    if not (missing_db and isinstance(attack.change, Quantity)) or abs(attack.change.value) < SMALLEST_DB:
        return attack
    share = missing_db / abs(attack.change.value)
    reason = f"each burst starts {missing_db:.2g} dB below the gain at rest: the release before had not ended"
    then = "use a recipe with longer gaps, such as timing"

    def doubted(time: Reading, by: float = share) -> Reading:
        if isinstance(time, Unmeasured):
            return time  # longer gaps would not bring it out
        if share <= MOST_SHORT:
            return time_of(time.value, math.hypot(time.std, by * time.value))
        return Unmeasured("s", reason, then, cause="short-gaps")

    def within(time: Reading, margin_db: float) -> Reading:
        if isinstance(past, Quantity) and abs(past.value - margin_db) < missing_db + past.high - past.value:
            return Unmeasured("s", reason, then, cause="short-gaps")  # whether it is left again is open
        return doubted(time)

    start, speed, past = attack.start, attack.initial_slope, attack.overshoot
    if isinstance(start, Quantity) and isinstance(speed, Quantity) and speed.value != 0:
        # a gain still rising at the edge looks as if it had turned before it
        aside_s = 1e-3 * missing_db / abs(speed.value)
        start = Quantity.from_std(start.value, math.hypot(start.std, aside_s), "s")
    if isinstance(past, Quantity):
        past = Quantity.from_std(past.value, math.hypot(past.std, missing_db), "dB")
    return replace(
        attack,
        start=start,
        delay=doubted(attack.delay, min(1.0, share / EARLY)),
        t50=doubted(attack.t50),
        t63=doubted(attack.t63),
        t90=doubted(attack.t90),
        within_2db=within(attack.within_2db, 2.0),
        within_3db=within(attack.within_3db, 3.0),
        within_4db=within(attack.within_4db, 4.0),
        overshoot=past,
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
        t63=times.t63,
        t90=times.t90 if isinstance(times.t90, Quantity) else None,
    )
