"""Named times of one edge: how long the gain takes to move, under every definition in use."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from charprobe.estimators.timing.edge.edge_reader import read_edge, still_leaving, unlike_db
from charprobe.estimators.timing.edge.excursion import excursion_db
from charprobe.estimators.timing.edge.onset import Onset, find_onset
from charprobe.estimators.timing.edge.settling import WORST, Settled, gain_after, gain_before
from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.values.quantity import DETECTED, Quantity, Reading, Unmeasured
from charprobe.values.wording import number_text

SMALLEST_DB = 0.1  # a change below this is none to time, nor one that noise and repeats could make
PART_63 = 1 - math.exp(-1)
SHORT_OF, SHORT_SHARE = 2.0, 0.03  # by more than this an edge has stopped short of the rest it must reach
CARRIED_ON = 0.01  # share of a change left when its record ends, from which its rest is carried on to
SAME = 1.01  # records of lengths this near are as long
CRESTS = 0.3  # of what is left when a record ends: so far on the way a gain that ripples may stop
SEEN = 4.0  # an overshoot is there when it exceeds this many standard uncertainties
FLOOR_DB = 0.0002  # levels of recorders, as for level steps: no noise tells of it

UNSETTLED = Unmeasured(
    "dB", "the gain had not settled when the record ended", "use a longer recipe, such as timing"
)


@dataclass(frozen=True)
class EdgeTimes:
    """How the gain moves after one edge; all times in s from the input edge, gains in dB.

    Percentages are of the gain change in dB between the settled gains before and after the edge;
    ``within_N`` is the last time at which the gain is farther than N dB from its settled value.

    Attributes
    ----------
    before, after : Reading
        Settled gains; `after` is unmeasured if the record ends too early.
    change : Reading
        Gain after less gain before, signed.
    start : Reading
        When the gain starts to move, by extrapolation of its first movement; negative with look-ahead.
    delay, t50, t63, t90 : Reading
        When 5, 50, 63.2 and 90 % of the change are done.
    within_2db, within_3db, within_4db : Reading
    initial_slope : Reading
        Speed at the start of the movement, in dB/ms, signed.
    overshoot : Reading
        How far the gain runs past its settled value, positive.
    resolution_s : float
        Shortest time that can be told from zero.
    settled : bool
        Whether the gain came to rest, or its asymptote is known, within the record.
    left : float
        Share of the change (0 to 1) that was still to come when the record ended.
    end_s : float
        When the record ended.
    """

    before: Reading
    after: Reading
    change: Reading
    start: Reading
    delay: Reading
    t50: Reading
    t63: Reading
    t90: Reading
    within_2db: Reading
    within_3db: Reading
    within_4db: Reading
    initial_slope: Reading
    overshoot: Reading
    resolution_s: float
    settled: bool
    left: float
    end_s: float


def time_edge(
    trace: GainTrace, *, rest_db: float | None, rest: Quantity | None = None, on_crests: bool = False
) -> EdgeTimes:
    """Time one edge of a gain trace.

    Parameters
    ----------
    trace : GainTrace
        The edge.
    rest_db : float or None
        Gain known to be reached later, such as that of the next lead; used only for bounds when
        the gain has not settled within the record.
    rest : Quantity or None
        Gain known from elsewhere to be reached in the end, to 5 % of the change. An edge is timed against it
        if it is known better than from the edge's own record, or if the edge is still moving when its record
        ends and does not point there within `SHORT_OF` standard uncertainties, or seems to settle before it
        by that and `SHORT_SHARE` of its change.
    on_crests : bool
        Whether the gain it comes to rests on the crests of a ripple, as where its level is itself reduced: it
        stops there before the law of its movement would, where `rest` and the law part.

    Returns
    -------
    EdgeTimes

    Notes
    -----
    Each crossing is read by a local quadratic whose window is only as wide as the noise needs. Its
    interval joins the noise, the uncertainty of both settled gains over the slope, time zero, and what was
    averaged. Times below the resolution of the trace are bounds; so are all times of an unsettled edge.
    """
    before = gain_before(trace)
    after = gain_after(trace, before_db=before.value_db)
    better = rest is not None and rest.std < after.std_db
    if rest is not None and (better or _goes_on(after, before, rest)):
        end_db, rest_db = after.value_db + (after.left_db if after.known else 0.0), rest.value
        ahead = better or (rest.value - end_db) * (rest.value - before.value_db) > 0
        known = ahead and rest.std < WORST * abs(rest.value - before.value_db)
        after = Settled(rest.value if known else end_db, rest.std, end_db - rest.value, known)
    elif rest is not None and after.left_db:
        apart_db = min(CRESTS * abs(after.left_db), abs(rest.value - after.value_db)) if on_crests else 0.0
        after = _joined(after, rest)
        after = replace(after, std_db=math.hypot(after.std_db, apart_db))
    change = after.value_db - before.value_db
    std = math.hypot(before.std_db, after.std_db)
    if abs(change) < (max(SMALLEST_DB, DETECTED * std) if after.known else SMALLEST_DB):
        to_go = None if rest is None or after.known else rest.value - after.value_db
        return _nothing(trace, before, after, Quantity.from_std(change, std, "dB"), to_go)
    told = Quantity.from_std(change, std, "dB")
    if not after.known:
        return _unsettled(trace, before, after, told, rest_db)
    return _read(trace, before, after, told)


def _read(trace: GainTrace, before: Settled, after: Settled, change: Quantity) -> EdgeTimes:
    """All times of an edge on its way from one settled gain to another."""
    reader = read_edge(trace, before=before, after=after)
    onset: Onset = find_onset(trace, before=before, change_db=change.value, reached_s=reader.guess)
    overshoot = _overshoot(trace, after, change.value, reader.guess(0.9))
    if reader.leaves:
        overshoot = still_leaving("dB", at_least=overshoot.low if isinstance(overshoot, Quantity) else 0.0)
    t50, t63, t90 = in_order([reader.part(0.5), reader.part(PART_63), reader.part(0.9)])
    return EdgeTimes(
        before.quantity,
        after.quantity,
        change,
        onset.start,
        reader.part(0.05),
        t50,
        t63,
        t90,
        reader.within(2.0),
        reader.within(3.0),
        reader.within(4.0),
        onset.slope,
        overshoot,
        trace.resolution_s,
        True,
        min(1.0, abs(after.left_db / change.value)),
        float(trace.time_s[-1]),
    )


def in_order(times: Sequence[Reading]) -> list[Reading]:
    """Times of growing parts of a way: those that noise has turned round become one, with both intervals."""
    told, runs = list(times), list[list[Quantity]]()
    for time in times:
        runs += [[time]] if isinstance(time, Quantity) else []
        while len(runs) > 1 and _middle(runs[-2]) > _middle(runs[-1]):
            runs[-2:] = [runs[-2] + runs[-1]]
    for run in runs:
        low, high = max(one.low for one in run), min(one.high for one in run)
        if len(run) > 1 and low <= (middle := _middle(run)) <= high:
            one = Quantity(middle, min(t.low for t in run), max(t.high for t in run), run[0].unit)
            told = [one if time in run else time for time in told]
    return told


def _middle(times: Sequence[Quantity]) -> float:
    return sum(time.value for time in times) / len(times)


def _goes_on(after: Settled, before: Settled, rest: Quantity) -> bool:
    """Whether an edge comes to rest at another gain than its record says, if that says any."""
    change = after.value_db - before.value_db
    missing, unsure = rest.value - after.value_db, SHORT_OF * math.hypot(after.std_db, rest.std)
    if not after.known or (after.left_db and abs(missing) > unsure):
        return True
    return missing * math.copysign(1.0, change) > max(unsure, SHORT_SHARE * abs(change))


def _joined(after: Settled, rest: Quantity) -> Settled:
    """The gain an edge points at and the one known from elsewhere, which agree, as one."""
    share = after.std_db**2 / (after.std_db**2 + rest.std**2)
    moved = share * (rest.value - after.value_db)
    return Settled(after.value_db + moved, math.sqrt(share) * rest.std, after.left_db - moved, after.known)


def _overshoot(trace: GainTrace, after: Settled, change: float, settled_s: float) -> Reading:
    """Largest excursion past the settled gain that stands out of the noise, over windows of all widths."""
    late = trace.time_s >= max(0.0, 0.5 * settled_s)
    past, noise = (trace.gain_db[late] - after.value_db) * np.sign(change), trace.std_db[late]
    best, width = Quantity(0.0, 0.0, 0.0, "dB"), 1
    bound = math.inf
    while width <= past.size // 4:
        starts = np.arange(0, past.size - past.size % width, width)
        means = np.add.reduceat(past[: starts.size * width], starts) / width
        stds = np.sqrt(np.add.reduceat(noise[: starts.size * width] ** 2, starts)) / width
        stds = np.hypot(stds, math.hypot(after.std_db, FLOOR_DB))
        top = int(np.argmax(means - SEEN * stds))
        bound = min(bound, float(np.max(means + SEEN * stds)))
        if means[top] > max(SEEN * stds[top], best.value):
            when_s = float(np.mean(trace.time_s[late][starts[top] : starts[top] + width]))
            std = math.hypot(float(stds[top]), unlike_db(trace, when_s))
            best = Quantity.from_std(float(means[top]), std, "dB")
        width *= 2
    if best.low > 0:
        return best
    if best.value > 0:
        bound, reason = max(bound, best.high), "bursts differ by more than what the gain falls too far"
    else:
        reason = "none stands out of the noise"
    return Unmeasured("dB", reason, "record with less noise", at_most=max(0.0, bound))


def _nothing(
    trace: GainTrace, before: Settled, after: Settled, change: Quantity, to_go_db: float | None
) -> EdgeTimes:
    """An edge at which the gain hardly moves: there is no way to go, or all of it is left."""
    moved, end_s = f"the gain changes by {number_text(abs(change.value), 3)} dB only", float(trace.time_s[-1])
    none = Unmeasured(
        "s", f"{moved}: there is nothing to time", "use a recipe whose bursts reach above the threshold"
    )
    waits = to_go_db is not None and abs(to_go_db) > SMALLEST_DB
    if out_db := excursion_db(trace, after.value_db):
        reason = f"the gain goes out by {number_text(out_db, 1)} dB and comes back to where it was"
        none, waits = Unmeasured("s", f"{reason}: no part of a way", "look at the gain trace"), False
    elif waits and to_go_db is not None:
        reason = f"{moved} in {end_s:.3g} s, with {number_text(abs(to_go_db), 1)} dB to go to where it rests"
        none = Unmeasured(
            "s", reason, "use a recipe with a longer hold and release, such as timing", cause="short-gaps"
        )
    still, late = none.as_of("dB"), none.as_of("s", at_least=end_s if waits else None)
    return EdgeTimes(
        before.quantity, after.quantity, change,
        none, none, late, late, late, none, none, none, none.as_of("dB/ms"), still, trace.resolution_s,
        not waits, float(waits), end_s,
    )  # fmt: skip


def _unsettled(
    trace: GainTrace, before: Settled, after: Settled, change: Quantity, rest_db: float | None
) -> EdgeTimes:
    """Bounds for an edge whose record ends too early: its settled gain lies beyond the last one seen."""
    beyond = after.value_db
    if rest_db is not None and (rest_db - after.value_db) * np.sign(change.value) > 0:
        beyond = rest_db
    least = Settled(beyond, max(after.std_db, before.std_db), after.left_db, False)
    return as_bounds(_read(trace, before, least, change))


def as_bounds(edge: EdgeTimes) -> EdgeTimes:
    """Take the times of an edge for bounds, where the gain that it seems to settle at is not its rest."""

    def bound(reading: Reading) -> Unmeasured:
        at_least = min(reading.least or 0.0, edge.end_s)
        return Unmeasured(
            "s",
            f"the gain was still moving when the record ended, {edge.end_s:.3g} s after the edge",
            "use a recipe with a longer hold and release, such as timing",
            at_least=max(0.0, at_least) or None,
            cause="short-gaps",
        )

    named = ("delay", "t50", "t63", "t90", "within_2db", "within_3db", "within_4db")
    bounds: dict[str, Any] = {name: bound(getattr(edge, name)) for name in named}
    return replace(edge, after=UNSETTLED, change=UNSETTLED, overshoot=UNSETTLED, settled=False, **bounds)


def believed(edges: Sequence[EdgeTimes]) -> list[EdgeTimes]:
    """Believe no end that an edge was carried on to where another, seen for as long, had none."""
    unended_s = max((edge.end_s for edge in edges if not edge.settled), default=0.0)
    return [
        as_bounds(edge)
        if edge.settled and edge.left > CARRIED_ON and edge.end_s <= SAME * unended_s
        else edge
        for edge in edges
    ]
