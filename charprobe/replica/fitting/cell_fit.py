"""The numbers of one structure of a gain cell, fitted to what was captured."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.knees import by_knee, by_width, spread_by_knee
from charprobe.replica.fitting.least_squares import (
    Effort,
    Knob,
    Predict,
    Solution,
    solve,
    spread_of,
    without_rounding,
)
from charprobe.replica.fitting.player import Player, in_samples
from charprobe.replica.fitting.starts import answering_as
from charprobe.replica.fitting.structures import Structure, cell_of, knobs_of
from charprobe.replica.flat import value_at, with_values
from charprobe.replica.parts import Cell, Chain
from charprobe.values.arrays import Array

NARROW_DB = 3.0  # as far as level steps lie apart: what such a knee is, is told at a fixed threshold alone
SOLVED, IN_QUADRATURE = 4.0, 2.5  # times the work: a loop to be solved for, and an envelope within
STEP_TOLD = 0.05  # samples, one standard deviation, to which a time can be told
LEVEL_TOLD_DB, SLOPE_TOLD = 1e-4, 5e-6  # the same of levels, and of slopes over some 20 dB: what paths leave
# the same of knees: one so wide rounds the corner by 0.002 dB, which weighs as little as noise
KNEE_TOLD_DB = 0.02


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


def price_of(structure: Structure) -> float:
    """What a sample takes, of what it takes without a loop."""
    if structure.loop == "feed-forward":
        return 1.0
    return SOLVED * (IN_QUADRATURE if structure.reads == "envelope" else 1.0)


@np.errstate(over="ignore", invalid="ignore")  # a trial that runs away is no better than the last one
def fit_cell(
    structure: Structure, like: Cell, heard: Heard, held_out: Heard, *, rate_hz: float, effort: Effort,
    threads: int = 1,
) -> Fitted:  # fmt: skip
    """Fit the numbers of one structure to the gain, starting from those of another."""
    cell = answering_as(like, cell_of(structure, like), rate_hz=rate_hz)
    knobs = knobs_of(structure, rate_hz, from_afar=not effort.starts, ahead=effort.ahead)
    by_knees = (False, True) if effort.spread else (False,)  # either way alone creeps along some valley
    if not effort.ahead:
        cell = in_samples(cell, rate_hz=rate_hz)
    player, judge = Player(heard, rate_hz, threads), Player(held_out, rate_hz, threads)

    def playing(numbers: Numbers) -> Predict:
        return lambda rows: player.play([Chain(cell=numbers.cell_at(row)) for row in rows])

    for knees in by_knees:
        numbers = Numbers(cell, knobs, knees)
        solution = solve(
            playing(numbers), heard.target, heard.weight, heard.block, knobs, numbers.values_of(cell),
            effort=replace(effort, spread=False),
        )  # fmt: skip
        cell = numbers.cell_at(solution.values)
    [made] = judge.play([Chain(cell=cell)])
    score = float(np.sqrt(np.mean(((held_out.target - made) * held_out.weight) ** 2)))
    values, covariance = Numbers(cell, knobs, knees=True).values_of(cell), solution.covariance
    if effort.spread:
        numbers = Numbers(cell, knobs, is_narrow(cell))
        predict, at = playing(numbers), numbers.values_of(cell)
        [made] = predict(at[None])
        error = (heard.target - made) * heard.weight
        covariance = spread_of(predict, error, heard.weight, heard.block, knobs, at)
        covariance = as_knees(covariance, cell, knobs, values, rate_hz=rate_hz)
    solution = replace(solution, values=values, covariance=covariance)
    return Fitted(
        structure, cell, knobs, solution, score, price_of(structure) * (player.walked + judge.walked)
    )


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


@dataclass(frozen=True)
class Numbers:
    """The numbers of a cell as `solve` has them: thresholds and knees with `knees`, or else as `by_width`."""

    cell: Cell
    knobs: tuple[Knob, ...]
    knees: bool

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
