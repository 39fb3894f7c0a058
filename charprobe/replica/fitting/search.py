"""The search for the structure of a gain cell, judged by parts of the stimulus the fit did not hear."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from charprobe.replica.cell import gain_rows_db
from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.least_squares import Knob, Solution, solve
from charprobe.replica.fitting.structures import Structure, cell_of, knobs_of
from charprobe.replica.flat import COLUMN, flatten, value_at, with_values
from charprobe.replica.parts import Cell, Chain
from charprobe.values.arrays import Array

FIRST = (
    Structure("envelope"),
    Structure("mean square", averaged=True),
    Structure("rectified"),
    Structure("mean square", domain="level"),
    Structure("rectified", domain="level in dB"),
    Structure("mean square", averaged=True, loop="feedback"),
)
ROUNDS = 4
SEARCH_TURNS, FIT_TURNS = 6, 6
BETTER = 0.97  # of the score: less is no step forward
AT_NOISE = 1.5  # times the score that noise and `FINEST` leave: as good as can be told
ALIKE = 1.1  # times the best score: explains the stage as well
LN_DB = 20 / np.log(10)


@dataclass(frozen=True)
class Fitted:
    """A structure with its numbers.

    `held_out` is the root-mean-square weighted error on stretches the fit did not hear.
    """

    structure: Structure
    cell: Cell
    knobs: tuple[Knob, ...]
    solution: Solution
    held_out: float


Told = Callable[[float], None]


def fit_cell(
    structure: Structure, like: Cell, heard: Heard, held_out: Heard, *, rate_hz: float, turns: int
) -> Fitted:
    """Fit the numbers of one structure to the gain, starting from those of another."""
    cell = cell_of(structure, like)
    knobs = knobs_of(structure, rate_hz)
    predict = Gains(cell, knobs, heard, rate_hz)
    start = np.array([knob.inner(value_at(Chain(cell=cell), knob.places[0])) for knob in knobs])
    solution = solve(predict, heard.target, heard.weight, heard.block, knobs, start, turns=turns, enough=0.01)
    cell = predict.cell_at(solution.values)
    judged = Gains(cell, knobs, held_out, rate_hz)(solution.values[None])[0]
    error = (held_out.target - judged) * held_out.weight
    return Fitted(structure, cell, knobs, solution, float(np.sqrt(np.mean(error**2))))


class Gains:
    """Output of a bare gain cell for rows of fitted numbers: what `solve` runs."""

    def __init__(self, cell: Cell, knobs: tuple[Knob, ...], heard: Heard, rate_hz: float) -> None:
        self.cell, self.knobs, self.heard, self.rate_hz = cell, knobs, heard, rate_hz
        self._used = heard.dry[heard.used]

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
        bare = replace(self.cell, makeup_db=0.0)
        same, back = np.unique(flat, axis=0, return_inverse=True)
        gain = np.concatenate(
            [
                gain_rows_db(bare, same, self.heard.dry[piece], rate_hz=self.rate_hz)
                for piece in self.heard.pieces
            ],
            axis=1,
        )[:, self.heard.used]
        linear = np.exp(gain / LN_DB) * self._used
        return np.asarray(linear[back.ravel()] * np.exp(makeup / LN_DB)[:, None])

    def cell_at(self, values: Array) -> Cell:
        """The cell with fitted numbers."""
        places = [place for knob in self.knobs for place in knob.places]
        outer = [
            knob.outer(value) for knob, value in zip(self.knobs, values, strict=True) for _ in knob.places
        ]
        return with_values(Chain(cell=self.cell), places, outer).cell


def search(first: Cell, heard: Heard, held_out: Heard, *, rate_hz: float, told: Told) -> tuple[Fitted, ...]:
    """Search structures; the best first.

    Parameters
    ----------
    first : Cell
        Where all of them start.
    heard, held_out : Heard
        What they are fitted to, and what they are chosen by.
    rate_hz : float
        Sampling rate.
    told : callable
        Gets the share of the search that is done, 0 to 1.
    """
    known: dict[Structure, Fitted] = {}
    floor = AT_NOISE * np.hypot(held_out.noise_score, 1.0)

    def run(structures: Iterable[Structure], like: Cell, share: tuple[float, float]) -> None:
        new = [one for one in dict.fromkeys(structures) if one.sound and one not in known]
        for i, structure in enumerate(new):
            known[structure] = fit_cell(structure, like, heard, held_out, rate_hz=rate_hz, turns=SEARCH_TURNS)
            told(share[0] + (share[1] - share[0]) * (i + 1) / len(new))

    def ranked() -> list[Fitted]:
        return sorted(known.values(), key=lambda one: one.held_out)

    run(FIRST, first, (0.0, 0.25))
    for turn in range(ROUNDS):
        best = ranked()[0]
        run(best.structure.neighbours(), best.cell, (0.25 + 0.15 * turn, 0.4 + 0.15 * turn))
        if ranked()[0].held_out > BETTER * best.held_out or best.held_out < floor:
            break
    told(1.0)
    return tuple(ranked())
