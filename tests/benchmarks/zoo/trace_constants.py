"""Dead time, time constants, speed and look-ahead of a stage, from its own gain over the reference burst.

None of these is a crossing that a definition names, so each comes as a range of what the trace itself leaves open: a dead time lies
between where the first hundredth of the change points back to and where that is done; one constant between the steepest and the
flattest that two shares of the last third give; two come from a linear prediction of the trace, which must miss none of it.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from tests.benchmarks.zoo.bursts import end_of
from tests.benchmarks.zoo.judged import Range
from tests.benchmarks.zoo.played_bursts import PlayedSet, phase_means
from tests.benchmarks.zoo.stage import Array, Stage

Constants = dict[str, Range]

LEAST_CHANGE_DB = 1.0
FIRST, BEGUN = 2e-4, 0.01  # shares of the change, 0.002 and 0.1 dB of 10, between which a movement begins
TAIL = (0.632, 0.7, 0.8, 0.9, 0.95)
MIDDLE = (0.3, 0.4, 0.5, 0.6, 0.7)
ONE = 1.04  # largest ratio of the constants of a single exponential from a fifth of the way on
POINTS, APART = 400, 3.0  # of two constants: points looked at, ratio of the two,
MISSED, LEAST_SHARE = 0.002, 0.15  # share of the change that they may miss, and that either carries


def trace_constants(stage: Stage, played: PlayedSet, sound: Array, rate_hz: int) -> Constants:
    """Ranges by quantity over the means that may stand for the set; a missing one is not settled by each of them."""
    rest_s = max(stage.calm_s, played.burst.release_s)
    means = phase_means(stage, played, sound, played.burst.hold_s, rest_s, rate_hz)
    each = [_constants(stage, played, gain, rate_hz) for gain, _ in means]
    settled = [name for name in each[0] if all(name in one for one in each)]
    return {name: (min(one[name][0] for one in each), max(one[name][1] for one in each)) for name in settled}


def _constants(stage: Stage, played: PlayedSet, gain: Array, rate_hz: int) -> Constants:
    late = round(stage.late_s * rate_hz)
    early = late if stage.ahead_s is None else round(stage.ahead_s * rate_hz)
    edge = round(played.burst.lead_s * rate_hz) + late
    fall = edge + round(played.burst.hold_s * rate_hz)
    before, within = (float(gain[at - early - 8 : at - early].mean()) for at in (edge, fall))
    after = end_of(gain, fall)
    found: Constants = {}
    if abs(within - before) > LEAST_CHANGE_DB:
        moved = np.abs(gain[edge - early : fall - early] - before) / abs(within - before)
        ahead = [(early - int(np.argmax(moved > share))) / rate_hz for share in (BEGUN, FIRST)]
        found["attack.lookahead"] = (max(ahead[0], 0.0), max(ahead[1], 0.0))
    if abs(after - within) > LEAST_CHANGE_DB:
        left = (after - gain[fall:]) / (after - within)
        found |= _release(left, after - within, rate_hz)
    return found


def _release(left: Array, change_db: float, rate_hz: int) -> Constants:
    first, begun = (_done(left, share) / rate_hz for share in (FIRST, BEGUN))
    back = first - (begun - first) * FIRST / (BEGUN - FIRST)
    found: Constants = {"release.hold": (max(0.0, min(back, first)), begun)}
    speeds = [
        change_db * (b - a) * rate_hz / max(1, _done(left, b) - _done(left, a)) for a, b in pairwise(MIDDLE)
    ]
    found["release.rate"] = (min(speeds), max(speeds))
    late, whole = (_between(left, shares, rate_hz) for shares in (TAIL, (0.2, 0.4, *TAIL)))
    two = _two(left[_done(left, BEGUN) :], rate_hz)
    if two is not None:
        return found | two | {"release.stages": (2.0, 2.0)}
    if whole[1] < ONE * whole[0]:
        found["release.stages"] = (1.0, 1.0)
    return found | {"release.tau_1": late}


def _done(left: Array, share: float) -> int:
    """First sample from which a share of the change is done for good."""
    return int(np.flatnonzero(np.append(True, left > 1 - share))[-1])


def _between(left: Array, shares: tuple[float, ...], rate_hz: int) -> Range:
    """Smallest and largest constant that shares of the change give."""
    pairs = [*pairwise(shares), (0.632, 0.9)]
    found = [(_done(left, b) - _done(left, a)) / rate_hz / np.log((1 - a) / (1 - b)) for a, b in pairs]
    return float(min(found)), float(max(found))


def _two(left: Array, rate_hz: int) -> Constants | None:
    """Two constants by linear prediction of what is left, None where one or a law that bends does as well."""
    step = max(1, round(1.5 * _done(left, 0.99) / POINTS))
    heard = left[: step * POINTS : step]
    ahead, behind = np.linalg.lstsq(np.stack([heard[1:-1], heard[:-2]], axis=1), heard[2:], rcond=None)[0]
    roots = np.roots([1.0, -ahead, -behind])
    if np.iscomplexobj(roots) or not np.all((roots > 0) & (roots < 1)):
        return None
    fast, slow = sorted(-step / rate_hz / np.log(roots))
    at = np.arange(heard.size) * step / rate_hz
    basis = np.stack([np.exp(-at / fast), np.exp(-at / slow)], axis=1)
    shares = np.linalg.lstsq(basis, heard, rcond=None)[0]
    share = float(shares[0] / shares.sum())
    told = np.abs(basis @ shares - heard).max() < MISSED and LEAST_SHARE < share < 1 - LEAST_SHARE
    if not told or slow < APART * fast:
        return None
    percent = 100 * share
    return {
        "release.tau_1": (fast, fast),
        "release.tau_2": (slow, slow),
        "release.tau_1_share": (percent, percent),
    }
