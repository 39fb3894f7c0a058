"""The search for the structure of a gain cell, judged by parts of the stimulus the fit did not hear."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import product
from typing import get_args

import numpy as np

from charprobe.replica.fitting.cell_fit import Fitted, fit_cell, price_of
from charprobe.replica.fitting.heard import Heard, Memory
from charprobe.replica.fitting.least_squares import Effort
from charprobe.replica.fitting.structures import LINEAR, Reads, Structure, joined, knobs_of
from charprobe.replica.fitting.threads import in_threads
from charprobe.replica.parts import Cell, Domain, Form, Towards

READINGS: tuple[tuple[Reads, bool], ...] = (
    ("envelope", False), ("mean square", True), ("rectified", False), ("mean square", False),
)  # fmt: skip
FIRST = (
    *(
        Structure(reads, averaged, domain, towards=towards)
        for domain in get_args(Domain)
        for towards in get_args(Towards)
        for reads, averaged in READINGS
    ),
    Structure("peak falling", averaged=True),
)
DETECTORS = 2  # of those that were looked at, the best, to which others are neighbours too
ROUNDS = 4
LOOK = Effort(2, 0.01, spread=False, starts=False, ahead=True)  # a first look
CLOSER = Effort(4, 0.01, spread=False, ahead=True)  # a structure worth it
SEARCH = Effort(8, 0.01, spread=False, ahead=True)
SETTLE = Effort(20, 1e-3, spread=False, ahead=True)  # the best: valleys of loops are long
RUNGS = ((1 / 6, CLOSER), (1 / 4, SEARCH), (1 / 4, SETTLE))  # shares of those before, and how far each goes
FIT = Effort(10, 1e-5)  # the last: of a hundred thousand errors a hundredth would be thirty intervals
BETTER = 0.97  # of the score: what each number must bring
AT_NOISE = 1.5  # times the score that noise and `FINEST` leave: as good as can be told
ALIKE = 1.1  # times the best score: explains the stage as well
BUDGET = 6e9  # samples that a fit may send through cells in all, counted as feed-forward ones
TRIED = 3  # rows for each turn besides a slope for each number, as a rule
BETTER_UNHEARD = 0.9  # of the error where a fit hears: worth hearing it behind more

Told = Callable[[float], None]
Start = tuple[Structure, Cell]
Call = tuple[Structure, Cell, Heard, Heard]  # where it starts, what it is fitted to and judged by


def all_of(like: Structure, detectors: Sequence[tuple[Reads, bool]]) -> Iterator[Structure]:
    """All structures with the bends of one, and what it does to what is quiet; of some detectors.

    What neither of two changes brings alone is found where both are made. Loops are around the reduction, and
    hold nothing.
    """
    domains: tuple[Domain, ...] = ("level", "level in dB", "reduction")
    for (reads, averaged), low_cut in product(detectors, (0, max(1, like.low_cut))):
        some = replace(like, reads=reads, averaged=averaged, low_cut=low_cut)
        for domain, form, towards, held in product(domains, get_args(Form), get_args(Towards), (False, True)):
            yield replace(some, domain=domain, form=form, towards=towards, held=held)
        yield from (replace(some, release=release) for release in LINEAR[1:])
        yield from (replace(some, loop="feedback", towards=towards) for towards in get_args(Towards))


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
    rate_hz: float,
    jobs: int,
    budget: Budget,
    keep: float,
    told: Told,
) -> list[Fitted]:
    """Search structures; the best first, none where the budget is not enough for a look.

    All are looked at, and of those that do best fewer and fewer are followed further, until one meets the
    stage as well as noise lets it; then what differs from the best one in one thing is searched so too, from
    its numbers, as long as that leads on.

    Parameters
    ----------
    among : sequence of (Structure, Cell)
        The structures that are looked at first, and where each starts, which may be more than once.
    heard, held_out : Heard
        What they are fitted to, and what they are chosen by.
    rate_hz : float
        Sampling rate.
    jobs : int
        Threads at the same time.
    budget, keep : Budget, float
        Ends the search early, with so much left.
    told : callable
        Gets the share of the search that is done, 0 to 1.

    Notes
    -----
    It also ends where a structure that remembers more than was heard meets that best, see `unheard`.
    """
    known: dict[Structure, Fitted] = {}
    asked: set[Structure] = set()  # whose neighbours were searched
    floor = AT_NOISE * np.hypot(held_out.noise_score, 1.0)

    def ranked() -> list[Fitted]:
        return sorted(known.values(), key=worth_it)

    def fit(starts: Iterable[Start], effort: Effort, keep: float = keep) -> Iterator[Fitted]:
        """Fits as far as the budget goes; each is known from then on."""
        calls = budget.affords([(one, like, heard, held_out) for one, like in starts], effort, keep=keep)
        for one in fit_side_by_side(calls, rate_hz=rate_hz, effort=effort, jobs=jobs):
            budget.spend(one)
            known[one.structure] = min(one, known.get(one.structure, one), key=lambda one: one.held_out)
            yield one

    def halve(starts: Sequence[Start], begun: float, share: float) -> None:
        """Follow fewer and fewer with more turns each; the first that is as good as noise allows ends it.

        Where one is known that is, others as good may be told from it: a sixth is followed, and no further.
        """
        met, field = any(one.held_out < floor for one in known.values()), []
        for i, one in enumerate(fit(starts, LOOK)):
            field.append(one)
            told(begun + share * (i + 1) / len(starts))
        for part, effort in RUNGS:
            worth = sorted(field, key=worth_it)[: max(1, round(part * len(field)))]
            field = []
            for one in fit([(one.structure, one.cell) for one in worth], effort):
                field.append(one)
                if one.held_out < floor and not met:
                    return
            if met:
                return

    halve(among, 0.0, 0.4)
    if not known:
        return []
    for turn in range(ROUNDS):
        best = ranked()[0]
        met = best.held_out < floor
        if best.structure in asked or (turn if met else unheard(ranked(), heard.memory)):
            break
        asked.add(best.structure)
        halve([(one, best.cell) for one in best.structure.neighbours() if one.sound], 0.4 + 0.1 * turn, 0.1)
    best = ranked()[0]  # a plainer one that was looked at from afar starts again from here
    plainer = [one for one in best.structure.less() if one.sound]
    likes = dict.fromkeys((best.cell, joined(best.cell)))
    for _ in fit([(one, like) for one in plainer for like in likes], SEARCH, keep / 2):
        pass
    told(1.0)
    return ranked()


def fit_side_by_side(calls: Sequence[Call], *, rate_hz: float, effort: Effort, jobs: int) -> Iterator[Fitted]:
    """Fit several structures in so many threads; they come in their order, whatever their number."""
    alone = jobs if len(calls) == 1 else 1

    def fit(call: Call) -> Fitted:
        return fit_cell(*call, rate_hz=rate_hz, effort=effort, threads=alone)

    yield from in_threads(fit, calls, jobs // alone)
