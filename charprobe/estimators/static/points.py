"""Points of a static curve: which steps may be fitted, and which are flattened by waveshaping."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from charprobe.values.arrays import Array, Index
from charprobe.values.quantity import DB_PER_NEPER

USABLE_STD_DB = 0.1  # points known less well are not used: in them neither drift nor bend would show
SATURATES_DB = 0.02  # least gain that waveshaping must explain in a saturating step,
SATURATES_SHARE, RUN_SHARE = 0.15, 0.25  # least share of what is lost there and over a run of steps
HEIGHT_DB, RUN_DB = 3.0, 6.0  # of a step, whatever the recipe's steps are, and of a run above it
GROWS = 1.2  # distortion of saturation grows by this up to the top step; that of gain ripple does not
BENT_DB, BENT_SHARE = 0.003, 0.5  # steps below go too while waveshaping explains so much of their loss,
JUMP, JUMP_FROM = 3.0, 1e-3  # or while their third harmonic is so many times that of the step below
SAME_LEVEL_DB = 0.05
STEP_STD_DB = 0.0003  # recorders and drifts differ by about this between two steps
MISSED_STDS = 2.0  # from which an extrapolated step misses one that is surer
APART_STDS, AGREE_STDS, LEADING_SHARE = 4.0, 3.0, 1 / 3  # first steps that another pass contradicts


@dataclass(frozen=True)
class StaticPoint:
    """One step of the static curve.

    Attributes
    ----------
    input_dbfs, output_dbfs : float
        Level on the input axis and level that came back.
    std_db : float
        Standard uncertainty of the gain between them.
    direction : {"rising", "falling"}
        Whether the level was stepping up or down.
    settled, saturated, used : bool
        Whether the gain had settled; whether waveshaping flattens this level; whether the curve is
        fitted to it.
    remaining_db : float
        How far the gain still had to go; `output_dbfs` is already extrapolated by it.
    odd_share : float
        Third harmonic over fundamental, amplitude ratio.
    """

    input_dbfs: float
    output_dbfs: float
    std_db: float
    direction: Literal["rising", "falling"]
    settled: bool
    remaining_db: float
    odd_share: float
    saturated: bool = False
    used: bool = False

    @property
    def gain_db(self) -> float:
        """Output minus input level."""
        return self.output_dbfs - self.input_dbfs


def mark_points(points: Sequence[StaticPoint]) -> tuple[StaticPoint, ...]:
    """Set `saturated` and `used` of every point.

    Notes
    -----
    A point is used if its gain has settled, is known to `USABLE_STD_DB` or better, and is not flattened
    by waveshaping. At levels where no step has settled, the extrapolated one stands in if known as well.
    First steps that recover from what was played before them have not settled, even if no motion shows in
    them: see `still_recovering`.
    """
    recovering = (*still_recovering(points), *_not_yet_back(points))
    points = [replace(p, settled=p.settled and p not in recovering) for p in points]
    points = [replace(p, std_db=max(p.std_db, _missed_db(p, points))) for p in points]
    found = find_saturation(points)
    limit = found.left_out_dbfs if found is not None else np.inf
    settled = {_key(p) for p in points if p.settled and p.std_db <= USABLE_STD_DB}
    marked = []
    for point in points:
        saturated = point.input_dbfs > limit - SAME_LEVEL_DB
        known = point.std_db <= USABLE_STD_DB and not saturated
        used = known and (point.settled or _key(point) not in settled)
        marked.append(replace(point, saturated=saturated, used=used))
    return tuple(marked)


def _missed_db(point: StaticPoint, points: Sequence[StaticPoint]) -> float:
    """By how much an extrapolated step misses surer ones of its level, where that is more than chance."""
    if point.settled:
        return 0.0
    surer = [p for p in points if _key(p) == _key(point) and p.std_db < point.std_db]
    missed = [(abs(point.gain_db - p.gain_db), float(np.hypot(point.std_db, p.std_db))) for p in surer]
    return max((db for db, std in missed if db > MISSED_STDS * std), default=0.0)


@dataclass(frozen=True)
class Flattening:
    """Input levels of the first step seen to be flattened, and of the lowest left out of the curve for it."""

    seen_dbfs: float
    left_out_dbfs: float


def find_saturation(points: Sequence[StaticPoint]) -> Flattening | None:
    """Find from which input level on waveshaping flattens the output; None if it does not.

    Notes
    -----
    A memoryless bend makes third harmonic and takes fundamental in a fixed proportion (3 to 1 for
    a cubic, 1 to 1 for a clipped tip, as amplitudes); a slow gain makes none, and its ripple makes some once
    and no more with rising level. A step saturates if the third harmonic it adds explains part of the gain
    it loses, goes on doing so in the steps above, up to the highest, and stays. A curve that steepens loses
    none.
    """
    rising = sorted((p for p in points if p.direction == "rising"), key=lambda p: p.input_dbfs)
    share = np.array([p.odd_share for p in rising])
    gain = np.array([p.gain_db for p in rising])
    level = np.array([p.input_dbfs for p in rising])
    below = np.maximum(np.searchsorted(level, level - HEIGHT_DB + SAME_LEVEL_DB) - 1, 0)
    above = np.minimum(np.searchsorted(level, level + RUN_DB - SAME_LEVEL_DB), level.size - 1)
    for hit in range(1, len(rising)):
        if _saturates(hit, int(below[hit]), int(above[hit]), share, gain):
            lowest = _first_bent(hit, below, share, gain)
            return Flattening(rising[hit].input_dbfs, rising[lowest].input_dbfs)
    return None


def bent_db(share: Array) -> Array:
    """Gain that waveshaping takes with a share of third harmonic: 3 to 1 for a cubic, any for a square."""
    return np.asarray(-DB_PER_NEPER * np.log1p(-np.minimum(3.0 * share, 1 - 1e-9)))


def _saturates(hit: int, below: int, end: int, share: Array, gain: Array) -> bool:
    bent = bent_db(share)
    here, run, whole = (bent[i] - bent[below] for i in (hit, end, -1))
    lost_here, lost_in_run, lost = (max(float(gain[below] - gain[i]), 0.0) for i in (hit, end, -1))
    explained = lost_in_run > 0 and here > max(SATURATES_DB, SATURATES_SHARE * lost_here)
    goes_on = run > RUN_SHARE * lost_in_run and whole > RUN_SHARE * lost
    stays = bool(np.all(share[hit:] >= share[hit] / 2))
    grows = end + 1 >= share.size or share[-1] > GROWS * share[hit]
    return bool(explained and goes_on and stays and grows)


def _first_bent(hit: int, lower: Index, share: Array, gain: Array) -> int:
    """Go down from a saturating step to the first whose gain waveshaping explains, or that began to clip.

    A step with less gain than the louder one, beyond what its harmonics explain, is of a stage that opens.
    """
    quiet = max(float(np.median(gain[: max(3, gain.size // 3)])), float(gain[: hit + 1].max()) - BENT_DB)
    explained = bent_db(share)
    while hit > 1:
        below = hit - 1
        if gain[hit] - gain[below] > explained[below] + BENT_DB:
            break
        clips = share[below] > JUMP * share[lower[below]] + JUMP_FROM
        lost = max(quiet - float(gain[below]), 0.0)
        if not clips and not (explained[below] > BENT_DB and explained[below] > BENT_SHARE * lost):
            break
        hit = below
    return hit


def still_recovering(points: Sequence[StaticPoint]) -> tuple[StaticPoint, ...]:
    """Return the first steps of all if the same levels, played later, contradict them less and less.

    A gain on its way back from what was played before may hide in the noise of each quiet step; the steps
    then lean to one side of those of the falling pass, by less from step to step, until they agree.
    """
    pairs = pairs_by_level(points)
    first_dbfs = min((p.input_dbfs for p in points if p.direction == "rising" and p.settled), default=np.inf)
    if not pairs or pairs[0][0].input_dbfs > first_dbfs:
        return ()  # what the first of all was on its way to is not known
    found: list[StaticPoint] = []
    apart, side = np.inf, 0.0
    for rising, falling in pairs[: int(LEADING_SHARE * len(pairs))]:
        difference = rising.gain_db - falling.gain_db
        std = float(np.hypot(rising.std_db, falling.std_db)) + STEP_STD_DB
        if abs(difference) < (AGREE_STDS if found else APART_STDS) * std:
            return tuple(found)
        if side * difference < 0 or abs(difference) > apart + AGREE_STDS * std:
            return ()
        found.append(rising)
        apart, side = abs(difference), difference
    return ()


def _not_yet_back(points: Sequence[StaticPoint]) -> tuple[StaticPoint, ...]:
    """Return falling steps that follow one which had not settled, and lie off on the side it came from.

    What is left to go may hide in the noise of a quiet step; the same level of the rising pass shows it.
    """
    before = {id(late): early for early, late in pairwise(points)}
    found = []
    for rising, falling in pairs_by_level(points):
        early, apart = before.get(id(falling)), falling.gain_db - rising.gain_db
        std = float(np.hypot(rising.std_db, falling.std_db)) + STEP_STD_DB
        coming = early is not None and not early.settled and early.remaining_db * apart < 0
        if coming and abs(apart) > APART_STDS * std:
            found.append(falling)
    return tuple(found)


def _key(point: StaticPoint) -> int:
    return round(point.input_dbfs / (2 * SAME_LEVEL_DB))


def pairs_by_level(points: Sequence[StaticPoint]) -> tuple[tuple[StaticPoint, StaticPoint], ...]:
    """Pair rising and falling steps of one input level, both settled, by rising level."""
    rising = {_key(p): p for p in points if p.direction == "rising" and p.settled}
    falling = {_key(p): p for p in points if p.direction == "falling" and p.settled}
    return tuple((rising[key], falling[key]) for key in sorted(rising.keys() & falling.keys()))
