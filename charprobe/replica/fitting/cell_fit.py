"""The numbers of one structure of a gain cell, fitted to what was captured."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass, replace
from typing import Any, TypeVar, cast

import numpy as np

from charprobe.replica.cell import CLOSE_DB, answered_db, looped_db, readings
from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.knees import by_knee, by_width, rows_by_knee, spread_by_knee
from charprobe.replica.fitting.least_squares import Effort, Knob, Solution, solve, spread_of, without_rounding
from charprobe.replica.fitting.starts import answering_as
from charprobe.replica.fitting.structures import Structure, cell_of, knobs_of
from charprobe.replica.fitting.threads import in_threads
from charprobe.replica.flat import COLUMN, DETECTOR, flatten, value_at, with_values
from charprobe.replica.parts import Cell, Chain
from charprobe.values.arrays import Array

AHEAD = "cell.lookahead_s"
NARROW_DB = 3.0  # as far as level steps lie apart: what such a knee is, is told at a fixed threshold alone
SOLVED, IN_QUADRATURE = 4.0, 2.5  # times the work: a loop to be solved for, and an envelope within
STEP_TOLD = 0.05  # samples, one standard deviation, to which a time can be told
LEVEL_TOLD_DB, SLOPE_TOLD = 1e-4, 5e-6  # the same of levels, and of slopes over some 20 dB: what paths leave
# the same of knees: one so wide rounds the corner by 0.002 dB, which weighs as little as noise
KNEE_TOLD_DB = 0.02
LN_DB = 20 / np.log(10)
Made = TypeVar("Made")


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
    work = 0
    for knees in by_knees:
        predict = Gains(cell, knobs, heard, rate_hz, knees=knees, threads=threads)
        solution = solve(
            predict, heard.target, heard.weight, heard.block, knobs, predict.values_of(cell),
            effort=replace(effort, spread=False),
        )  # fmt: skip
        cell = predict.cell_at(solution.values)
        work += predict.walked
    plain = Gains(cell, knobs, held_out, rate_hz, knees=True)
    values = plain.values_of(cell)
    [made] = plain(values[None])
    score = float(np.sqrt(np.mean(((held_out.target - made) * held_out.weight) ** 2)))
    covariance = solution.covariance
    if effort.spread:
        asked = Gains(cell, knobs, heard, rate_hz, knees=is_narrow(cell), threads=threads)
        at = asked.values_of(cell)
        [made] = asked(at[None])
        error = (heard.target - made) * heard.weight
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


class Kept:
    """What single steps made of the last two rows that others differ from: these do not make it again."""

    def __init__(self) -> None:
        self._last: list[dict[Hashable, Any]] = [{}, {}]

    def begin(self) -> None:
        """From now on other rows differ from the next one."""
        self._last = [{}, self._last[0]]

    def known(self, key: Hashable, make: Callable[[], Made], *, keep: bool) -> Made:
        """What was made under a key, or is made now; kept if it is of the row that others differ from."""
        made = next((some[key] for some in self._last if key in some), None)
        made = make() if made is None else made
        if keep:
            self._last[0][key] = made
        return cast(Made, made)


class Gains:
    """Output of a bare gain cell for rows of fitted numbers: what `solve` runs.

    Thresholds and knees in the rows are such with `knees`, or else as `by_width` has them.
    """

    def __init__(
        self, cell: Cell, knobs: tuple[Knob, ...], heard: Heard, rate_hz: float, *, knees: bool = False,
        threads: int = 1,
    ) -> None:  # fmt: skip
        self.knees = knees
        self.cell, self.knobs, self.heard, self.rate_hz = cell, knobs, heard, rate_hz
        self.walked = 0  # samples so far
        self._used = heard.dry[heard.used]
        looks_s = max([cell.lookahead_s, *(knob.high for knob in knobs if knob.places[0] == AHEAD)])
        self._room = int(np.ceil(looks_s * rate_hz)) + 1  # samples of gain beyond the end of each piece
        piece = np.searchsorted([piece.start or 0 for piece in heard.pieces], heard.used, side="right") - 1
        self._places = heard.used + self._room * piece
        self._kept, self._threads = Kept(), threads

    def __call__(self, rows: Array) -> Iterator[Array]:
        """Output at the samples that count, row by row; the others differ from the first in little."""
        makeup, ahead = (
            np.zeros(rows.shape[0]),
            np.full(rows.shape[0], round(self.cell.lookahead_s * self.rate_hz)),
        )
        flat = np.repeat(flatten(self.cell)[None], rows.shape[0], axis=0)
        for column, knob in enumerate(self.knobs):
            for place in knob.places:
                name = place.removeprefix("cell.")
                if name == "makeup_db":
                    makeup = rows[:, column]
                elif place == AHEAD:
                    ahead = rows[:, column] * self.rate_hz
                else:
                    values = np.exp(rows[:, column]) if knob.logarithmic else rows[:, column]
                    flat[:, COLUMN[name]] = values
        if not self.knees:
            rows_by_knee(flat)
        self.walked += len(np.unique(flat, axis=0)) * self.heard.dry.size
        self._kept.begin()
        self._gain_db(flat[0], keep=True)

        @np.errstate(over="ignore", invalid="ignore")  # a trial that runs away is no better than the last one
        def output(i: int) -> Array:
            gain = self._gain_db(flat[i], keep=False)
            whole, part = int(ahead[i]), ahead[i] % 1
            met = gain[self._places + whole]
            if part:
                met += part * (gain[self._places + whole + 1] - met)
            return self.heard.seen(np.exp((met + makeup[i]) / LN_DB) * self._used)

        return in_threads(output, range(rows.shape[0]), min(self._threads, rows.shape[0]))

    def _gain_db(self, row: Array, *, keep: bool) -> Array:
        sound, rate_hz = [self.heard.dry[piece] for piece in self.heard.pieces], self.rate_hz
        cell = replace(self.cell, makeup_db=0.0, lookahead_s=0.0)

        def looped() -> Array:
            silence = np.zeros(self._room)
            made = [looped_db(cell, row, one, rate_hz=rate_hz, reached=CLOSE_DB) for one in sound]
            return np.concatenate([part for one in made for part in (one, silence)])

        def read() -> list[Array]:
            far = replace(cell, lookahead_s=self._room / rate_hz)
            return [readings(far, row, one, rate_hz=rate_hz) for one in sound]

        def answered() -> Array:
            return np.concatenate([answered_db(cell, row, one, rate_hz=rate_hz) for one in reading])

        if cell.loop == "feedback":
            return self._kept.known(row.tobytes(), looped, keep=keep)
        reading = self._kept.known(row[DETECTOR].tobytes(), read, keep=keep)
        return self._kept.known(row.tobytes(), answered, keep=keep)

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
