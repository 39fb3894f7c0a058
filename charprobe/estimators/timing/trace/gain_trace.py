"""The gain of a stage at every sample around one edge of a level step, and what it says of itself."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from charprobe.estimators.timing.trace.first_burst import FEWEST, FirstBurst
from charprobe.estimators.timing.trace.scatter import Scatter
from charprobe.values.arrays import Array
from charprobe.values.edge import Edge

LEFT = 5.0  # times what a gain moves by in half its record before an edge, that it may have left to go


@dataclass(frozen=True, eq=False)  # each is itself alone, so that what is known of it can be remembered
class GainTrace:
    """Gain of the stage around one edge.

    Attributes
    ----------
    edge : {"attack", "release"}
        Rising or falling edge of the input level.
    time_s : ndarray, shape (n,)
        Seconds from the edge on the stimulus clock, ascending, negative before the edge. Every sample near
        the edge; farther out, means over at most 1/400 of the distance.
    gain_db : ndarray, shape (n,)
        Output over dry reference, in dB.
    std_db : ndarray, shape (n,)
        Standard uncertainty of each point, in dB.
    turn_db : ndarray, shape (n,)
        What the carrier's phase has turned from where it settles, as the gain's magnitude over its part in
        phase, in dB: a stage that splits bands turns it while it moves.
    resolution_s : float
        Shortest time this trace can tell from zero: sample spacing, smear of the edge by the path, and the
        span that had to be averaged to part the gain from the carrier.
    sample_s : float
        Sample spacing.
    window_s, calm_s, calm_window_s : float
        Width of the box that smooths as much as the averaging of points before `calm_s` does, and from
        there on.
    carrier_hz, from_dbfs, to_dbfs : float
        Carrier, and its level before and after the edge on the input axis.
    scatter : Scatter
        How the bursts that the trace was made from differ.
    first : FirstBurst or None
        What was added to the mean of all bursts to make it that of one from rest; None where all are alike.
    fills : bool
        Whether each burst ends farther on than the one before, and none stands for one from rest.
    ripple_db : float
        Amplitude of what the detector makes of the carrier, at twice its frequency, soon after the edge.
    """

    edge: Edge
    time_s: Array
    gain_db: Array
    std_db: Array
    turn_db: Array
    resolution_s: float
    sample_s: float
    window_s: float
    calm_s: float
    calm_window_s: float
    carrier_hz: float
    from_dbfs: float
    to_dbfs: float
    scatter: Scatter
    first: FirstBurst | None
    fills: bool
    ripple_db: float

    @cached_property
    def weights(self) -> Array:
        """Weight of each point: its standard uncertainty to the power -2."""
        return np.asarray(self.std_db**-2.0)

    @cached_property
    def typical_std_db(self) -> float:
        """Standard uncertainty in dB of the middle one of all points."""
        return float(np.median(self.std_db))

    @cached_property
    def spacing_s(self) -> float:
        """Least distance of two points, in s."""
        return float(np.diff(self.time_s).min())

    @property
    def before_std_db(self) -> float:
        """Standard uncertainty in dB of the gain before the edge, from how unlike the bursts are."""
        return math.hypot(self.scatter.before_std_db, 0.0 if self.first is None else self.first.before_std_db)

    @property
    def after_std_db(self) -> float:
        """The same of the gain at the end of the record."""
        return math.hypot(self.scatter.after_std_db, 0.0 if self.first is None else self.first.after_std_db)

    def both_ways_db(self, release_s: float) -> float:
        """How far the gain before the edge may lie from rest where the low level itself is reduced, in dB.

        The first burst comes to it from silence, the others from above: so far as they are apart, and as it
        still moves, at its speed for as long as a release takes, it is not at rest. Infinite where bursts
        were not alike, or are too few to tell.
        """
        off_db = self.scatter.before_db
        if self.first is not None or off_db.shape[0] < FEWEST or off_db.shape[1] == 0:
            return math.inf
        apart_db = abs(float(off_db[0].mean() - off_db[1:].mean()))
        before = (self.time_s > self.scatter.before_s[-1]) & (self.time_s < self.scatter.before_s[0])
        early, late = np.array_split(self.gain_db[before], 2)
        halves_s = float(np.ptp(self.time_s[before])) / 2
        return apart_db + max(LEFT, release_s / halves_s) * abs(float(early.mean() - late.mean()))

    @property
    def most_passed_s(self) -> float:
        """Time after the edge by which 63 % of what the record shows has passed, roughly."""
        after = self.time_s >= 0
        gone = np.abs(self.gain_db[after] - self.gain_db[after][0])
        return float(self.time_s[after][np.argmax(gone >= (1 - 1 / math.e) * gone[-1])])

    @property
    def repeats(self) -> int:
        """Number of bursts the trace was made from."""
        return self.scatter.repeats

    def until_next(self, ahead_s: float) -> GainTrace:
        """The trace up to where a stage that looks so far ahead begins to hear the next edge."""
        kept = self.time_s < self.time_s[-1] - ahead_s
        named = ("time_s", "gain_db", "std_db", "turn_db")
        return replace(self, **{name: getattr(self, name)[kept] for name in named})

    def turn_at(self, time_s: float) -> float:
        """What the carrier's phase costs the gain at one time, in dB."""
        return float(np.interp(time_s, self.time_s, self.turn_db))

    def unlike_db(self, time_s: float) -> float:
        """Half of what the first and the last burst differ by at one time in dB, where something fills."""
        return self.scatter.half_range_at(time_s) if self.fills else 0.0

    def window_at(self, time_s: float) -> float:
        """Width in s of the box that smooths as much as the averaging at one time."""
        return self.window_s if time_s < self.calm_s else self.calm_window_s
