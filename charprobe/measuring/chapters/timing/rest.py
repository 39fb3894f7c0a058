"""The gain a release must come back to, as the level steps know it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from charprobe.estimators.static.curve import StaticCurve
from charprobe.estimators.static.points import StaticPoint
from charprobe.estimators.timing.edge.settling import Settled
from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.values.quantity import Quantity

AGREE = 0.3  # share of a reduction by which bursts that come to it from silence and from above may differ
REDUCED_DB = 0.1  # reduction from which a low level is within it
LEAST_DB = 0.05  # bursts and steps at one level may differ by this much, as tones of unlike frequency do


def gain_at_rest(
    static: StaticCurve | None, *, from_dbfs: float, to_dbfs: float, held_db: float
) -> Quantity | None:
    """Return the gain at the low level of bursts, read off settled level steps; None if they do not tell.

    Parameters
    ----------
    static : StaticCurve or None
        Level steps, at another frequency than the bursts as a rule.
    from_dbfs, to_dbfs : float
        Low and high level of the bursts on the input axis.
    held_db : float
        Gain of the bursts at the high level, in dB.

    Notes
    -----
    Steps and bursts have unlike frequencies: by what they differ in at the high level, through the response
    or the detector, they may differ at the low one too. That difference is the answer's standard uncertainty.
    """
    if static is None:
        return None
    rising = [point for point in static.points if point.direction == "rising"]
    low = _between([point for point in rising if point.settled], from_dbfs)
    high = _between(rising, to_dbfs)
    if low is None or high is None:
        return None
    std = float(np.hypot(np.hypot(low.std, LEAST_DB), held_db - high.value))
    return Quantity.from_std(low.value, std, "dB")


def reduced_at_rest(
    static: StaticCurve | None, attack: GainTrace, *, lead: Settled, held_db: float, both_db: float
) -> bool:
    """Whether bursts are reduced at their low level; `lead` and `held_db` are their gains at both levels.

    Level steps are, or the detector hears the carrier louder than the steps: bursts from silence and from
    above then rest, on their way nowhere, at one gain (but for `both_db`) below these at the low level, and
    lie by more below them at the high one. A filter would do the same at both.
    """
    if static is None:
        return False
    if abs(static.reduction_db_at(attack.from_dbfs) or 0.0) >= REDUCED_DB:
        return True
    rising = [point for point in static.points if point.direction == "rising"]
    low, high = (_between(rising, level) for level in (attack.from_dbfs, attack.to_dbfs))
    if low is None or high is None:
        return False
    below_db = low.value - lead.value_db
    rests = below_db > REDUCED_DB and max(both_db, abs(lead.left_db)) < AGREE * below_db
    return rests and high.value - held_db > below_db + REDUCED_DB


def _between(points: Sequence[StaticPoint], level: float) -> Quantity | None:
    """Interpolate the gain between the two steps around a level; None outside them.

    A curve that bends lies off its chord by up to an eighth of its second difference.
    """
    rows = sorted((p.input_dbfs, p.gain_db, p.std_db) for p in points)
    levels = np.array([row[0] for row in rows])
    step = float(np.median(np.diff(levels))) if levels.size > 1 else 0.0
    near = levels[np.abs(levels - level) <= 1.1 * step]
    if near.size == 0 or not near[0] - 0.1 <= level <= near[-1] + 0.1:
        return None
    gains, stds = np.array([row[1:] for row in rows]).T
    at = int(np.searchsorted(levels, level))
    off_chord = float(np.abs(np.diff(gains, 2))[max(at - 2, 0) : at].max(initial=0.0)) / 8
    std = float(np.hypot(np.interp(level, levels, stds), off_chord))
    return Quantity.from_std(float(np.interp(level, levels, gains)), std, "dB")
