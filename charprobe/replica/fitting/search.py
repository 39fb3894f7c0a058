"""The search for the structure of a gain cell, judged by parts of the stimulus the fit did not hear."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import get_args

import numpy as np
from joblib import Parallel, delayed  # type: ignore[import-untyped]  # ships no types

from charprobe.replica.fitting.cell_fit import Fitted, fit_cell, price_of
from charprobe.replica.fitting.heard import Heard, Memory
from charprobe.replica.fitting.least_squares import Effort
from charprobe.replica.fitting.structures import Reads, Structure, joined, knobs_of
from charprobe.replica.parts import Cell, Domain, Towards

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
BETTER, IN_VAIN = 0.97, 1  # of the score: less is no step forward, and so many rounds may bring none
FAR, NEARER = 1e12, 2.0  # how good a first cell is; times as good: worth another look from there
NEAR = 2.0  # times the best score: worth looking on from, once nothing beside the best is better
AT_NOISE = 1.5  # times the score that noise and `FINEST` leave: as good as can be told
ALIKE = 1.1  # times the best score: explains the stage as well
BUDGET = 2.5e9  # samples that a fit may send through cells in all, counted as feed-forward ones
TRIED = 3  # rows for each turn besides a slope for each number, as a rule
BETTER_UNHEARD = 0.9  # of the error where a fit hears: worth hearing it behind more


Told = Callable[[float], None]
Start = tuple[Structure, Cell]
Call = tuple[
    Structure, Cell, Heard, Heard
]  # a structure, where it starts, what it is fitted to and judged by


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
