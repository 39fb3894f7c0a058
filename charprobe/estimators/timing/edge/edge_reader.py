"""Reads times off one edge of a gain trace: when a level is crossed, with interval or bound."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from charprobe.estimators.timing.edge.crossing import Crossing, first_reached, refine, smooth
from charprobe.estimators.timing.edge.settling import Settled
from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.values.arrays import Array
from charprobe.values.quantity import Z95, Quantity, Reading, Unmeasured

ZERO_SAMPLES = 0.015  # standard uncertainty of time zero in samples: what placing promises, for two captures
OWN_SAMPLES = 12**-0.5  # of when a stage that works in samples meets a burst: any time within one
EDGE_SAMPLES = (
    0.2  # standard uncertainty that the smeared edge leaves at one resolution from it; falls as 1/t
)
SMOOTH_SHARE = 1 / 60  # noise, as a share of the change, at which a first guess of a crossing is safe
REACH = 0.28  # windows reach over this share of the way back to the start of the movement
ARRIVED = 0.99  # share of the change from which on a trace has arrived and may turn back
BACK, BACK_STDS = 0.05, 5.0  # share of the change, or clearly, by which a gain must fall back to cross again
RIPPLE_SHARE = 0.1  # share of the ripple at twice the carrier by which gains may be off
TURN_SHARE = 1.0  # share of what a turned carrier costs by which gains may be off: no one number is its gain
TURNED = 0.1  # share of the change that a turned carrier must cost for a bound to wait until it has turned
LEVEL_SHARE = 0.25  # of what is left to go, by which a level may be unsure for its crossing to be a time
STEP_STDS, STEP_FLAT, STEP_WIDE = 8.0, 0.1, 1.2  # of a gain that moves in steps: see `_step_s`
LEAVES = 0.005  # share of the change that a gain must run past its rest by: less moves no margin
LEAVING, LAST = 4.0, 0.1  # standard uncertainties past rest and from one such share of the record to the next
FEW = 5.0  # resolutions below which a crossing that no window shows is called unresolved


@dataclass(frozen=True)
class EdgeReader:
    """Reads crossings off one settled edge.

    Attributes
    ----------
    trace : GainTrace
        The edge.
    smoothed : ndarray, shape (n,)
        The trace with its noise averaged down, for first guesses.
    arrived : int
        Points up to the arrival at the new gain: the way there is monotone, what follows may turn back.
    before, after : Settled
        Settled gains that percentages refer to.
    """

    trace: GainTrace
    smoothed: Array
    arrived: int
    before: Settled
    after: Settled

    @property
    def change(self) -> float:
        """Gain after less gain before, in dB."""
        return self.after.value_db - self.before.value_db

    @cached_property
    def _done(self) -> Array:
        """Share of the change that is done at each point of the smoothed trace."""
        return np.asarray((self.smoothed - self.before.value_db) / self.change)

    @cached_property
    def _way(self) -> tuple[Array, Array]:
        """Gains times weights, and weights, of the way to the new gain, added up from its first point on."""
        weights = self.trace.weights[: self.arrived]
        return np.cumsum(self.trace.gain_db[: self.arrived] * weights), np.cumsum(weights)

    @cached_property
    def _begun_s(self) -> float:
        """About when a twentieth of the change is done."""
        return self.guess(0.05)

    def guess(self, part: float) -> float:
        """Return about when `part` of the change is done; the record's end if it never is."""
        level = self.before.value_db + part * self.change
        first = first_reached(*self._way, level, rising=self.change > 0)
        if first == self.arrived:
            past = np.flatnonzero(self._done[first:] >= part)
            first = first + int(past[0]) if past.size else -1
        return float(self.trace.time_s[first])

    def part(self, part: float) -> Reading:
        """Return from when on `part` (0 to 1) of the change is done."""
        near = self._stays(part)
        if near >= self.trace.time_s[-1]:
            return unreached(float(self.trace.time_s[-1]))
        level = self.before.value_db + part * self.change
        level_std = math.hypot((1 - part) * self.before.std_db, part * self.after.std_db)
        found = self._read(level, level_std, near, toward=True)
        if isinstance(found, Quantity) and level_std > LEVEL_SHARE * (1 - part) * abs(self.change):
            reason = "the gain it comes to rest at is not known well enough"
            then = "use a recipe with longer gaps, such as timing"
            return Unmeasured("s", reason, then, at_least=max(0.0, found.low) or None, cause="short-gaps")
        return found

    def _stays(self, part: float) -> float:
        """Return about when `part` of the change is done and clearly stays so."""
        first, done = self.guess(part), self._done
        noise_db = math.hypot(self.trace.typical_std_db, RIPPLE_SHARE * self.trace.ripple_db)
        back = min(BACK, BACK_STDS * noise_db / abs(self.change))
        short = np.flatnonzero((done < part - back) & (self.trace.time_s > first))
        if not short.size:
            return first
        past = np.flatnonzero(done[short[-1] :] >= part)
        return float(self.trace.time_s[short[-1] + past[0]] if past.size else self.trace.time_s[-1])

    def within(self, limit_db: float) -> Reading:
        """Return the last time the gain is farther than `limit_db` from its settled value."""
        if abs(self.change) <= limit_db:
            return Unmeasured(
                "s",
                f"the whole gain change is {abs(self.change):.2g} dB: the gain is never farther away",
                "raise the step of the burst, or read t63 and t90",
            )
        near = self._stays(1 - limit_db / abs(self.change))
        if self.leaves:
            return still_leaving("s", at_least=near)
        past = (self.smoothed - self.after.value_db) * np.sign(self.change) > limit_db
        past &= self.trace.time_s > near
        if past.any():
            last, level = float(self.trace.time_s[np.flatnonzero(past)[-1]]), limit_db * np.sign(self.change)
            return self._read(self.after.value_db + level, self.after.std_db, last, toward=False)
        if near >= self.trace.time_s[-1]:
            return unreached(near)
        level = self.after.value_db - limit_db * np.sign(self.change)
        return self._read(level, self.after.std_db, near, toward=True)

    @property
    def leaves(self) -> bool:
        """Whether the record ends while the gain runs past the one it settles at, and farther from it yet."""
        end_s = float(self.trace.time_s[-1])
        past = (self.trace.gain_db - self.after.value_db) * np.sign(self.change)
        ends = [(self.trace.time_s > (1 - n * LAST) * end_s) for n in (1, 2)]
        tenths = [ends[0], ends[1] & ~ends[0]]
        if not all(part.any() for part in tenths):
            return False
        last, before = (float(past[part].mean()) for part in tenths)
        of_last, of_before = (
            float(np.sqrt(np.mean(self.trace.std_db[part] ** 2) / np.count_nonzero(part))) for part in tenths
        )
        least_db = max(LEAVING * math.hypot(of_last, self.after.std_db), LEAVES * abs(self.change))
        return last > least_db and last - before > LEAVING * math.hypot(of_last, of_before)

    def moved(self, by_db: float) -> Reading:
        """Return when the gain has moved by `by_db` from where it stood before the edge."""
        if abs(self.change) <= by_db:
            return Unmeasured(
                "s", f"the whole gain change is {abs(self.change):.2g} dB", "raise the step of the burst"
            )
        return self.part(by_db / abs(self.change))

    def _read(self, level: float, level_std: float, near_s: float, *, toward: bool) -> Reading:
        base = self._begun_s if near_s > self._begun_s else min(0.0, near_s)
        reach = REACH * max(near_s - base, 0.0)
        rising = (self.change > 0) == toward
        found = refine(self.trace, level, near_s=near_s, reach_s=reach, rising=rising)
        if found is None and abs(near_s) < FEW * self.trace.resolution_s:
            return below_resolution(self.trace, max(near_s + self.trace.resolution_s, self._turned_s))
        if found is None:
            reason = "no crossing stands out of the noise"
            return Unmeasured("s", reason, "raise the level or the number of phases")
        chance_s = max(self._step_s(found.time_s) / 2, self._still_s(found, level, level_std))
        return _time(self.trace, found, level_std, chance_s, self._turned_s)

    @cached_property
    def _turned_s(self) -> float:
        """Until when a turn of the carrier's phase costs so much that no one number is its gain."""
        turned = (TURN_SHARE * self.trace.turn_db > TURNED * abs(self.change)) & (self.trace.time_s > 0)
        return float(self.trace.time_s[turned].max(initial=0.0))

    def _still_s(self, found: Crossing, level: float, level_std: float) -> float:
        """Half of how long a moving gain stands still at a level, beyond what its slope makes of doubt."""
        std_db = float(np.interp(found.time_s, self.trace.time_s, self.trace.std_db))
        doubt = 2 * math.hypot(level_std, std_db)
        way = [first_reached(*self._way, level + by, rising=self.change > 0) for by in (-doubt, doubt)]
        ends = self.trace.time_s[np.minimum(way, self.arrived - 1)]
        return float(abs(ends[1] - ends[0])) / 2 - doubt / abs(found.slope_db_per_s)

    def _step_s(self, time_s: float) -> float:
        """How often a gain that stands still between jumps makes one at some time; 0 where it moves smoothly.

        It stands still while it moves by less than a tenth of the jump, for longer than the averaging over
        carrier periods, or over the points far out, smears a jump. Where a burst meets it is chance, and all
        of a set may meet it alike.
        """
        t, gain = self.trace.time_s, self.trace.gain_db
        here = min(int(np.searchsorted(t, time_s)), t.size - 1)
        reach = STEP_WIDE * max(1 / self.trace.carrier_hz, float(t[here] - t[here - 1]))
        first, last = (int(np.searchsorted(t, time_s + sign * reach)) for sign in (-1, 1))
        if time_s <= reach or last > t.size - 2:
            return 0.0
        jump = abs(float(gain[last] - gain[first]))
        still = [np.abs(side - side[0]) < STEP_FLAT * jump for side in (gain[first::-1], gain[last:])]
        counts = [int(np.argmin(side)) for side in still]
        if jump < STEP_STDS * float(self.trace.std_db[first]) or 0 in counts:
            return 0.0
        before, after = t[first] - t[first - counts[0] + 1], t[last + counts[1] - 1] - t[last]
        inside = t[first - counts[0] + 1] > 0
        return (
            float(max(before, after) + t[last] - t[first]) if inside and min(before, after) > reach else 0.0
        )


def read_edge(trace: GainTrace, *, before: Settled, after: Settled) -> EdgeReader:
    """Prepare an edge for reading crossings off it."""
    change = after.value_db - before.value_db
    smoothed = smooth(trace, to_std_db=abs(change) * SMOOTH_SHARE)
    arrived = np.flatnonzero((smoothed - before.value_db) / change >= ARRIVED)
    count = int(arrived[0]) + 1 if arrived.size else smoothed.size
    return EdgeReader(trace, smoothed, count, before, after)


def _time(trace: GainTrace, found: Crossing, level_std: float, chance_s: float, turned_s: float) -> Reading:
    zero = trace.sample_s * math.hypot(
        ZERO_SAMPLES,
        OWN_SAMPLES / math.sqrt(trace.repeats),
        EDGE_SAMPLES * trace.resolution_s / max(abs(found.time_s), 1e-9),
    )
    level_std = math.hypot(level_std, unlike_db(trace, found.time_s))
    std = math.hypot(found.std_s, level_std / abs(found.slope_db_per_s), zero, chance_s)
    if abs(found.time_s) < trace.resolution_s:
        return below_resolution(trace, max(found.time_s + Z95 * std, turned_s))
    if found.time_s < 0:
        reason = "done before the edge comes out: the stage looks ahead"
        return Unmeasured("s", reason, "none needed; see the look-ahead", at_most=trace.resolution_s)
    return time_of(found.time_s, std)


def unlike_db(trace: GainTrace, time_s: float) -> float:
    """Standard uncertainty in dB of a gain on its way beyond noise: what bursts and phases differ by."""
    # on another clock the phases of a set are no longer even, and part of the ripple stays in its mean
    ripple = math.hypot(
        RIPPLE_SHARE * trace.ripple_db,
        TURN_SHARE * trace.turn_at(time_s),
        trace.scatter.ripple_at(time_s),  # the gain's own, where means over carrier periods take it out
    )
    rested = 0.0 if trace.first is None else trace.first.unsure_db(time_s)
    return math.hypot(ripple, rested, trace.scatter.at(time_s), trace.unlike_db(time_s))


def time_of(value_s: float, std_s: float) -> Reading:
    """Return a time with its interval, or a bound where that would reach below zero."""
    if value_s > Z95 * std_s:
        return Quantity.from_std(value_s, std_s, "s")
    reason = "not told from zero: its interval is wider than the time itself"
    then = "record with less noise, or use a recipe with more phases"
    return Unmeasured("s", reason, then, at_most=value_s + Z95 * std_s)


def below_resolution(trace: GainTrace, upper_s: float) -> Unmeasured:
    """Return the bound for a time that the trace cannot tell from zero."""
    return Unmeasured(
        "s",
        f"shorter than this capture resolves ({trace.resolution_s * 1e3:.3g} ms)",
        "capture a bypass too, raise the sampling rate, or use a recipe with more phases",
        at_most=max(trace.resolution_s, upper_s),
        cause="coarse-carrier",
    )


def still_leaving(unit: str, *, at_least: float) -> Unmeasured:
    """Return the bound for what a gain that runs past its rest when the record ends does not tell."""
    return Unmeasured(
        unit,
        "the gain had run past where it settles when the record ended, and was moving on",
        "use a recipe with a longer hold, such as timing",
        at_least=max(0.0, at_least) or None,
        cause="short-gaps",
    )


def unreached(end_s: float) -> Unmeasured:
    """Return the bound for a time that lies beyond the end of the record."""
    return Unmeasured(
        "s",
        f"not reached when the record ended, {end_s:.3g} s after the edge",
        "use a recipe with a longer hold and release, such as timing",
        at_least=end_s,
        cause="short-gaps",
    )
