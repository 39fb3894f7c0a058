"""The search for the structure of a gain cell, judged by parts of the stimulus the fit did not hear."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import get_args

import numpy as np
from joblib import Parallel, delayed  # type: ignore[import-untyped]  # ships no types

from charprobe.replica.cell import CLOSE_DB, answered_db, looped_db, readings
from charprobe.replica.fitting.heard import Heard, Memory
from charprobe.replica.fitting.knees import by_knee, by_width, rows_by_knee, spread_by_knee
from charprobe.replica.fitting.least_squares import Effort, Knob, Solution, solve, spread_of, without_rounding
from charprobe.replica.fitting.starts import answering_as
from charprobe.replica.fitting.structures import Reads, Structure, cell_of, joined, knobs_of
from charprobe.replica.flat import COLUMN, DETECTOR, flatten, value_at, with_values
from charprobe.replica.parts import Cell, Chain, Domain, Towards
from charprobe.values.arrays import Array
from charprobe.values.one_thread import on_one_thread

# what the detector reads, what is smoothed and where it falls to: from one to another each step seldom brings
# something
READINGS: tuple[tuple[Reads, bool], ...] = (
    ("envelope", False), ("mean square", True), ("rectified", False), ("mean square", False),
)  # fmt: skip
FIRST = (
    *(
        Structure(reads, averaged, domain, towards=towards)
        for towards in get_args(Towards)
        for domain in get_args(Domain)
        for reads, averaged in READINGS
    ),
    Structure("peak falling", averaged=True),
    # ahead of the log, where a level falls by 100 dB, one form looks nothing like the other
    *(Structure(reads, averaged, "level", form="decoupled") for reads, averaged in READINGS),
    # a hold carries a reading over its ripple, which without one shows in all that is heard
    *(
        Structure(reads, domain=domain, towards=towards, held=True)
        for towards in get_args(Towards)
        for domain in get_args(Domain)
        for reads, averaged in READINGS
        if not averaged
    ),
    *(Structure(reads, averaged, loop="feedback") for reads, averaged in READINGS),
)
ROUNDS = 4
LOOK = Effort(2, 0.01, spread=False, starts=False)  # a first look
SEARCH = Effort(6, 0.01, spread=False)  # a structure worth it
SETTLE = Effort(20, 1e-3, spread=False)  # one whose neighbours are asked: valleys of loops are long
FIT = Effort(10, 1e-5)  # the last: of a hundred thousand errors a hundredth would be thirty intervals
CLOSE, FOLLOWED = 4.0, 4  # times the best score after a first look: so many are followed up
NARROW_DB = 3.0  # as far as level steps lie apart: what such a knee is, is told at a fixed threshold alone
BETTER, IN_VAIN = 0.97, 1  # of the score: less is no step forward, and so many rounds may bring none
FAR, NEARER = 1e12, 2.0  # how good a first cell is; times as good: worth another look from there
NEAR = 2.0  # times the best score: worth looking on from, once nothing beside the best is better
AT_NOISE = 1.5  # times the score that noise and `FINEST` leave: as good as can be told
ALIKE = 1.1  # times the best score: explains the stage as well
BUDGET = 2.5e9  # samples that a fit may send through cells in all, counted as feed-forward ones
SOLVED, IN_QUADRATURE = 4.0, 2.5  # times the work: a loop to be solved for, and an envelope within
TRIED = 3  # rows for each turn besides a slope for each number, as a rule
BETTER_UNHEARD = 0.9  # of the error where a fit hears: worth hearing it behind more
STEP_TOLD = 0.05  # samples, one standard deviation, to which a time can be told
LEVEL_TOLD_DB, SLOPE_TOLD = 1e-4, 5e-6  # the same of levels, and of slopes over some 20 dB: what paths leave
# the same of knees: one so wide rounds the corner by 0.002 dB, which weighs as little as noise
KNEE_TOLD_DB = 0.02
KEPT = 2  # readings of a detector that are remembered: its numbers move less often than the others
LN_DB = 20 / np.log(10)


Told = Callable[[float], None]
Start = tuple[Structure, Cell]
Call = tuple[
    Structure, Cell, Heard, Heard
]  # a structure, where it starts, what it is fitted to and judged by


@dataclass(frozen=True)
class Fitted:
    """A structure with its numbers.

    `held_out` is the root-mean-square weighted error on stretches the fit did not hear, `work` the samples
    that it took, see `Budget`.
    """

    structure: Structure
    cell: Cell
    knobs: tuple[Knob, ...]
    solution: Solution
    held_out: float
    work: float


class Budget:
    """Work that may still be done: samples sent through cells, which no machine counts otherwise.

    Parameters
    ----------
    left : float
        Samples of a feed-forward cell; those of a loop count as several.

    Attributes
    ----------
    ended : bool
        Whether anything was left undone.
    """

    def __init__(self, left: float) -> None:
        self.left, self.ended = left, False

    def affords(self, calls: Iterable[Call], effort: Effort, *, keep: float = 0.0) -> list[Call]:
        """Calls that it is enough for, as a rule, in their order, with so much kept for what follows."""
        expected, kept = keep, []
        for structure, like, heard, held_out in calls:
            numbers = len(knobs_of(structure, 1e5))
            passes = effort.turns * (numbers + TRIED) * (1 + effort.spread)
            work = passes * heard.dry.size * price_of(structure)
            if expected + work <= self.left:
                expected += work
                kept.append((structure, like, heard, held_out))
            else:
                self.ended = True
        return kept

    def spend(self, fitted: Fitted) -> None:
        """Take off what a fit took."""
        self.left -= fitted.work


def price_of(structure: Structure) -> float:
    """What a sample takes, of what it takes without a loop."""
    if structure.loop == "feed-forward":
        return 1.0
    return SOLVED * (IN_QUADRATURE if structure.reads == "envelope" else 1.0)


def worth_it(one: Fitted) -> float:
    """Its score, and what each of its numbers must bring: the least is the best."""
    return float(one.held_out * BETTER ** -len(one.knobs))


def unheard(found: Sequence[Fitted], memory: Memory) -> list[Fitted]:
    """Structures that remember more than was heard and meet that best or better than the best: unjudged."""
    enough = BETTER_UNHEARD * found[0].solution.score
    return [
        one
        for one in found
        if (one is found[0] or one.solution.score <= enough) and Memory.of(one.cell.smoothing).beyond(memory)
    ]


@on_one_thread
def fit_cell(
    structure: Structure, like: Cell, heard: Heard, held_out: Heard, *, rate_hz: float, effort: Effort
) -> Fitted:
    """Fit the numbers of one structure to the gain, starting from those of another."""
    cell = answering_as(like, cell_of(structure, like), rate_hz=rate_hz)
    knobs = knobs_of(structure, rate_hz, from_afar=not effort.starts)
    by_knees = (False, True) if effort.spread else (False,)  # either way alone creeps along some valley
    work = 0
    for knees in by_knees:
        predict = Gains(cell, knobs, heard, rate_hz, knees=knees)
        solution = solve(
            predict, heard.target, heard.weight, heard.block, knobs, predict.values_of(cell),
            effort=replace(effort, spread=False),
        )  # fmt: skip
        cell = predict.cell_at(solution.values)
        work += predict.walked
    plain = Gains(cell, knobs, held_out, rate_hz, knees=True)
    values = plain.values_of(cell)
    score = float(np.sqrt(np.mean(((held_out.target - plain(values[None])[0]) * held_out.weight) ** 2)))
    covariance = solution.covariance
    if effort.spread:
        asked = Gains(cell, knobs, heard, rate_hz, knees=is_narrow(cell))
        at = asked.values_of(cell)
        error = (heard.target - asked(at[None])[0]) * heard.weight
        covariance = spread_of(asked, error, heard.weight, heard.block, knobs, at)
        work += asked.walked
        covariance = as_knees(covariance, cell, knobs, values, rate_hz=rate_hz)
    solution = replace(solution, values=values, covariance=covariance)
    return Fitted(structure, cell, knobs, solution, score, price_of(structure) * (work + plain.walked))


def is_narrow(cell: Cell) -> bool:
    """Whether a knee is so narrow that thresholds and knees are asked for as such, see `Gains.knees`."""
    return any(bend.knee_db < NARROW_DB for bend in cell.bends)


def as_knees(
    covariance: Array, cell: Cell, knobs: tuple[Knob, ...], values: Array, *, rate_hz: float
) -> Array:
    """The covariance of thresholds and knees, from that of what was asked for; no less than can be told."""
    turn = np.eye(values.size)
    if not is_narrow(cell):
        turn = spread_by_knee([knob.places[0] for knob in knobs], cell)
    return without_rounding(turn @ covariance @ turn.T + np.diag(_least_variance(knobs, values, rate_hz)))


def _least_variance(knobs: tuple[Knob, ...], values: Array, rate_hz: float) -> Array:
    """Variance that no capture goes below: the stage's steps lie anywhere between those of the capture."""
    found = np.zeros(len(knobs))
    for i, (knob, value) in enumerate(zip(knobs, values, strict=True)):
        name = knob.places[0]
        if name.endswith("_s"):
            found[i] = (STEP_TOLD / (rate_hz * np.exp(value))) ** 2
        elif name.endswith("slope"):
            found[i] = SLOPE_TOLD**2
        elif name.endswith("knee_db"):
            found[i] = KNEE_TOLD_DB**2
        elif "_db" in name:
            found[i] = LEVEL_TOLD_DB**2
    return found


class Gains:
    """Output of a bare gain cell for rows of fitted numbers: what `solve` runs.

    Thresholds and knees in the rows are such with `knees`, or else as `by_width` has them.
    """

    def __init__(
        self, cell: Cell, knobs: tuple[Knob, ...], heard: Heard, rate_hz: float, *, knees: bool = False
    ) -> None:
        self.knees = knees
        self.cell, self.knobs, self.heard, self.rate_hz = cell, knobs, heard, rate_hz
        self.walked = 0  # samples so far
        self._used = heard.dry[heard.used]
        self._read: dict[bytes, list[Array]] = {}

    def __call__(self, rows: Array) -> Array:
        """Output at the samples that count; shape (k, m)."""
        makeup = np.zeros(rows.shape[0])
        flat = np.repeat(flatten(self.cell)[None], rows.shape[0], axis=0)
        for column, knob in enumerate(self.knobs):
            for place in knob.places:
                name = place.removeprefix("cell.")
                if name == "makeup_db":
                    makeup = rows[:, column]
                else:
                    values = np.exp(rows[:, column]) if knob.logarithmic else rows[:, column]
                    flat[:, COLUMN[name]] = values
        if not self.knees:
            rows_by_knee(flat)
        bare = replace(self.cell, makeup_db=0.0)
        same, back = np.unique(flat, axis=0, return_inverse=True)
        gain = np.stack([self._gain_db(bare, row) for row in same])
        self.walked += len(same) * self.heard.dry.size
        linear = np.exp(gain / LN_DB) * self._used
        return np.asarray(self.heard.seen(linear)[back.ravel()] * np.exp(makeup / LN_DB)[:, None])

    def _gain_db(self, cell: Cell, row: Array) -> Array:
        sound = [self.heard.dry[piece] for piece in self.heard.pieces]
        if cell.loop == "feedback":
            parts = [looped_db(cell, row, one, rate_hz=self.rate_hz, reached=CLOSE_DB) for one in sound]
        else:
            key = row[DETECTOR].tobytes()
            read = self._read.pop(key, None) or [
                readings(cell, row, one, rate_hz=self.rate_hz) for one in sound
            ]
            self._read[key] = read
            if len(self._read) > KEPT:
                self._read.pop(next(iter(self._read)))
            parts = [answered_db(cell, row, one, rate_hz=self.rate_hz) for one in read]
        return np.asarray(np.concatenate(parts)[self.heard.used])

    def values_of(self, cell: Cell) -> Array:
        """The numbers of a cell as rows have them."""
        chain = Chain(cell=cell if self.knees else by_width(cell))
        return np.array([knob.inner(value_at(chain, knob.places[0])) for knob in self.knobs])

    def cell_at(self, values: Array) -> Cell:
        """The cell with fitted numbers."""
        places = [place for knob in self.knobs for place in knob.places]
        outer = [
            knob.outer(value) for knob, value in zip(self.knobs, values, strict=True) for _ in knob.places
        ]
        cell = with_values(Chain(cell=self.cell), places, outer).cell
        return cell if self.knees else by_knee(cell)


def search(
    among: Sequence[Start],
    heard: Heard,
    held_out: Heard,
    *,
    first: Cell,
    rate_hz: float,
    jobs: int,
    budget: Budget,
    keep: float,
    told: Told,
) -> tuple[Fitted, ...]:
    """Search structures; the best first.

    Parameters
    ----------
    among : sequence of (Structure, Cell)
        The structures that are looked at first, and where each starts, which may be more than once.
    heard, held_out : Heard
        What they are fitted to, and what they are chosen by.
    first : Cell
        Where the best ones start once more: those that led there may have led into another valley.
    rate_hz : float
        Sampling rate.
    jobs : int
        Processes at the same time.
    budget, keep : Budget, float
        Ends the search early, with so much left.
    told : callable
        Gets the share of the search that is done, 0 to 1.

    Notes
    -----
    It also ends where a structure that remembers more than was heard meets that best, see `unheard`.
    """
    known: dict[Structure, Fitted] = {}
    begun: dict[Structure, float] = {}  # how good the cell was that each was last looked at from
    followed: set[Structure] = set()
    left: set[Structure] = set()  # whose neighbours were asked
    floor = AT_NOISE * np.hypot(held_out.noise_score, 1.0)

    def ranked() -> list[Fitted]:
        return sorted(known.values(), key=worth_it)

    def fresh(one: Fitted) -> bool:
        """Whether its neighbours were not asked, nor those of one that is as good without some of it."""
        return one.structure not in left and not any(
            less in left and worth_it(known[less]) <= worth_it(one) for less in one.structure.less()
        )

    def fit(starts: Iterable[Start], effort: Effort) -> Iterator[Fitted]:
        calls = budget.affords([(one, like, heard, held_out) for one, like in starts], effort, keep=keep)
        for one in fit_side_by_side(calls, rate_hz=rate_hz, effort=effort, jobs=jobs):
            budget.spend(one)
            yield one

    def kept(one: Fitted) -> None:
        known[one.structure] = min(one, known.get(one.structure, one), key=lambda one: one.held_out)

    def run(starts: Iterable[Start], good: float, share: tuple[float, float]) -> None:
        # what was looked at from far off is looked at again from near by
        new = [
            (one, like)
            for one, like in dict.fromkeys(starts)
            if one.sound and good < begun.get(one, np.inf) / NEARER
        ]
        begun.update((one, good) for one, _ in new)
        for i, one in enumerate(fit(new, LOOK)):
            kept(one)
            told(share[0] + 0.8 * (share[1] - share[0]) * (i + 1) / len(new))
        enough = CLOSE * ranked()[0].held_out
        worth = [one for one in ranked()[:FOLLOWED] if one.held_out <= enough]
        worth = [one for one in worth if one.structure not in followed]
        followed.update(one.structure for one in worth)
        for one in fit([(one.structure, one.cell) for one in worth], SEARCH):
            known[one.structure] = one
        told(share[1])

    run(among, FAR, (0.0, 0.25))
    vain = 0
    for turn in range(ROUNDS):
        best = ranked()[0]
        near = [one for one in ranked() if one.held_out <= NEAR * best.held_out and fresh(one)]
        if (turn and best.held_out < floor) or not near:
            break
        left.add(near[0].structure)
        starts = (near[0], *fit([(near[0].structure, first)], LOOK))
        start = min(starts, key=lambda one: one.held_out)
        settled = next(fit([(start.structure, start.cell)], SETTLE), start)
        known[settled.structure] = settled
        if turn and settled.held_out < floor:
            break
        share = (0.25 + 0.15 * turn, 0.4 + 0.15 * turn)
        run(((one, settled.cell) for one in settled.structure.neighbours()), settled.held_out, share)
        if ranked()[0].held_out >= floor and unheard(ranked(), heard.memory):
            return tuple(ranked())
        vain += ranked()[0].held_out > BETTER * best.held_out
        if vain > IN_VAIN:
            break
    best = ranked()[0]  # a plainer one that was looked at from afar starts again from here
    plainer = [one for one in best.structure.less() if one.sound]
    likes = dict.fromkeys((best.cell, joined(best.cell)))
    for again in fit([(one, like) for one in plainer for like in likes], SEARCH):
        kept(again)
    told(1.0)
    return tuple(ranked())


def fit_side_by_side(calls: Iterable[Call], *, rate_hz: float, effort: Effort, jobs: int) -> Iterator[Fitted]:
    """Fit several structures in so many processes; they come in their order, whatever their number."""
    work = (
        delayed(fit_cell)(structure, like, heard, held_out, rate_hz=rate_hz, effort=effort)
        for structure, like, heard, held_out in calls
    )
    yield from Parallel(n_jobs=jobs, return_as="generator")(work)
