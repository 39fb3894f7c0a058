"""Whether the release slows down where it leaves the reduction: what tells a feedback stage."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from charprobe.estimators.static.curve import StaticCurve
from charprobe.measuring.chapters.timing.detail import SAME_LEVEL_DB
from charprobe.measuring.chapters.timing.rows import BurstRow
from charprobe.profile.entry import Entry
from charprobe.values.quantity import Quantity, Reading, Unmeasured
from charprobe.values.wording import number_text

RESTING_DB = 0.2  # reduction at the low level of the bursts that end out of it, at most
REDUCED_DB = 2.0  # reduction that must be left at the low level of the bursts that stay within it
LOOP = 0.1  # share by which the releases must differ to be told as a feedback loop
SAME = 0.05  # share by which releases after long and short bursts may differ without memory
NEXT = "a recipe with bursts whose low level is still being reduced, such as standard or timing"


@dataclass(frozen=True)
class _Releases:
    """Releases from one high level: one that ends below the threshold, and one that ends within reduction."""

    below: BurstRow
    within: BurstRow


def open_loop_entry(bursts: Sequence[BurstRow], static: StaticCurve | None) -> Entry:
    """Read ``release.open_loop_ratio``: release t63 to below the threshold over t63 within the reduction.

    Where the gain itself is smoothed in dB both are the same. Where the detector senses the output, the loop
    is closed while the output is above the threshold, and its time constant divided by the ratio; below it
    the loop is open. The ratio of the releases lies between 1 and the static ratio, and reaches it where
    the step down is smaller than what the output was above the threshold.
    """
    pair = _pair(bursts, static)
    if pair is None:
        reason = "no bursts stay within the reduction: their low level must lie above the threshold"
        return Entry(Unmeasured("1", reason, NEXT), "")
    conditions = (
        f"from {number_text(pair.below.to_dbfs, 1)} dBFS down to {number_text(pair.below.from_dbfs, 1)} and "
        f"to {number_text(pair.within.from_dbfs, 1)} dBFS, carrier {pair.below.carrier_hz:g} Hz"
    )
    return Entry(_ratio(pair), conditions)


def loop_sentence(ratio: Reading, reference: BurstRow, memory: Reading, static: StaticCurve | None) -> str:
    """Say what the ratio means; empty where the release is no single exponential, or has a memory.

    Two stages, memory, and smoothing before the curve all change with depth, without any loop. That there is
    no loop needs level steps, which show where the reduction ends.
    """
    kind = reference.release_kind
    forgets = not isinstance(memory, Quantity) or abs(memory.value - 1) < SAME
    simple = kind is not None and kind.kind == "exponential"
    if not (isinstance(ratio, Quantity) and forgets and simple):
        return ""
    if ratio.low > 1 + LOOP:
        return (
            f"The release to below the threshold is {ratio.value:.2f} times as long as one that stays within "
            "the reduction: the detector senses the output (feedback)."
        )
    if static is not None and ratio.low > 1 - LOOP and ratio.high < 1 + LOOP:
        return "The release is as fast within the reduction as out of it: no sign of a feedback loop."
    return ""


def _ratio(pair: _Releases) -> Reading:
    below, within = pair.below.release.t63, pair.within.release.t63
    if isinstance(below, Quantity) and isinstance(within, Quantity):
        ratio = below.value / within.value
        return Quantity.from_std(
            ratio, ratio * math.hypot(below.std / below.value, within.std / within.value), "1"
        )
    missing = below if isinstance(below, Unmeasured) else within
    assert isinstance(missing, Unmeasured)
    return Unmeasured("1", missing.reason, missing.next)


def _pair(bursts: Sequence[BurstRow], static: StaticCurve | None) -> _Releases | None:
    """The pair that leaves the most reduction in the releases that stay within it."""
    open_rows = [row for row in bursts if _at_rest(row, static)]
    pairs = [
        (left_db, _Releases(below, within))
        for below in open_rows
        for within in bursts
        if _alike(below, within) and (left_db := _left_db(below, within)) > REDUCED_DB
    ]
    return max(pairs, key=lambda pair: pair[0])[1] if pairs else None


def _at_rest(row: BurstRow, static: StaticCurve | None) -> bool:
    """Whether the level steps, if there are any, see no reduction at the low level of bursts."""
    if static is None:
        return True
    rest, gain = static.low_level_gain, static.gain_at(row.from_dbfs)
    return isinstance(rest, Quantity) and isinstance(gain, Quantity) and rest.value - gain.value < RESTING_DB


def _left_db(below: BurstRow, within: BurstRow) -> float:
    """How much of the reduction is left at the low level of the bursts that stay within it."""
    rest, held = below.attack.before, within.attack.before
    return rest.value - held.value if isinstance(rest, Quantity) and isinstance(held, Quantity) else 0.0


def _alike(below: BurstRow, within: BurstRow) -> bool:
    return abs(below.to_dbfs - within.to_dbfs) < SAME_LEVEL_DB and below.carrier_hz == within.carrier_hz
