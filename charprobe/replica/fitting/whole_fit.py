"""All numbers of a chain at once: what filters, colour and cell each make up for in the others."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from charprobe.replica.chain import play_take
from charprobe.replica.fitting.cell_fit import Fitted, Gains, as_knees, is_narrow, price_of
from charprobe.replica.fitting.colour_fit import curve_of, row_of
from charprobe.replica.fitting.filter_fit import Linear, bounds_of
from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.least_squares import Effort, Knob, Solution, solve
from charprobe.replica.parts import Cell, Chain, Colour
from charprobe.values.arrays import Array

WHOLE, LAST = Effort(4, 0.02, spread=False), Effort(6, 1e-4)


@dataclass(frozen=True)
class Whole:
    """Filters, colour and cell, and whether they were fitted together."""

    linear: Linear
    colour: Colour
    fitted: Fitted
    together: bool = False


def fit_whole(near: Whole, heard: Heard, held_out: Heard, *, rate_hz: int, effort: Effort) -> Whole:
    """Fit the numbers of a cell, of the filters around it, and of a colour to the waveform as captured.

    A sweep shows filters as a cell that it turns down leaves them, and settled tones show a colour no further
    than they reach; what begins suddenly goes further than that.

    Parameters
    ----------
    near : Whole
        Where it starts; a colour goes on as far as the sound does.
    heard, held_out : Heard
        Filters and colour not taken off.
    rate_hz : int
        Sampling rate.
    effort : Effort
        When it ends.
    """
    fitted, linear, colour = near.fitted, near.linear, near.colour
    gains = Gains(fitted.cell, fitted.knobs, heard, rate_hz, knees=is_narrow(fitted.cell))
    filters = [*linear.ahead, *linear.sections]
    player = _Player(heard, rate_hz)
    knobs, start = [*fitted.knobs], [*gains.values_of(fitted.cell)]
    shelves = [one for one in filters if one.gain_db]
    knobs += [Knob(("corner",), *bounds_of(one, rate_hz)[0], logarithmic=True, step=0.01) for one in filters]
    knobs += [Knob(("gain",), *bounds_of(one, rate_hz)[1], step=0.01) for one in shelves]
    start += [*np.log([one.frequency_hz for one in filters]), *(one.gain_db for one in shelves)]
    if colour.amplitude:
        peak = player.peak_of(Chain(linear.ahead, fitted.cell, colour))
        bent = row_of(colour, peak)
        knobs += [Knob(("colour",), -40.0, 20.0, step=0.05)] * bent.size
        start += [*bent]

    def chain_at(row: Array) -> Chain:
        cell, left = gains.cell_at(row[: len(fitted.knobs)]), iter(row[len(fitted.knobs) :].tolist())
        made = [replace(one, frequency_hz=float(np.exp(next(left)))) for one in filters]
        made = [replace(one, gain_db=next(left)) if one.gain_db else one for one in made]
        curve = curve_of(colour, peak, np.array(list(left))) if colour.amplitude else colour
        split = len(linear.ahead)
        return Chain(tuple(made[:split]), cell, curve, tuple(made[split:]))

    def rough(rows: Array) -> Array:
        return np.stack([player.play(without_aliasing(chain_at(row))) for row in rows])

    def predict(rows: Array) -> Array:
        return np.stack([player.play(chain_at(row)) for row in rows])

    found = solve(
        predict, heard.target, heard.weight, heard.block, knobs, np.array(start),
        effort=effort, slopes_of=rough,
    )  # fmt: skip
    chain, own = chain_at(found.values), len(fitted.knobs)
    off = (held_out.target - _Player(held_out, rate_hz).play(chain)) * held_out.weight
    values = Gains(chain.cell, fitted.knobs, heard, rate_hz, knees=True).values_of(chain.cell)
    covariance = found.covariance[:own, :own]
    if effort.spread:
        covariance = as_knees(covariance, chain.cell, fitted.knobs, values, rate_hz=rate_hz)
    fitted = replace(
        fitted,
        cell=chain.cell,
        solution=Solution(values, found.score, covariance),
        held_out=float(np.sqrt(np.mean(off**2))),
        work=price_of(fitted.structure) * player.walked,
    )
    linear = replace(linear, ahead=chain.filter_in, sections=chain.filter_out)
    return Whole(linear, chain.colour, fitted, together=True)


def without_aliasing(chain: Chain) -> Chain:
    """The chain with its colour at the sampling rate: near enough for differences, at a twentieth."""
    return replace(chain, colour=replace(chain.colour, oversampled=False))


class _Player:
    """Plays chains over what is heard; what passes the cell is kept for those that differ behind it alone."""

    def __init__(self, heard: Heard, rate_hz: int) -> None:
        self._heard, self._rate_hz = heard, rate_hz
        self._kept: tuple[Chain, list[Array]] | None = None
        self.walked = 0  # samples so far

    def play(self, chain: Chain) -> Array:
        """Output at the samples that count, as it is seen; shape (m,)."""
        cell, colour, none = chain.cell, chain.colour, Colour()
        first, rest = Chain(chain.filter_in, cell, colour), Chain(filter_out=chain.filter_out)
        if colour.place != "in loop":
            first = replace(first, cell=replace(cell, makeup_db=0.0))
            rest = replace(rest, cell=Cell(makeup_db=cell.makeup_db))
        if colour.place == "behind":
            first, rest = replace(first, colour=none), replace(rest, colour=colour)
        passed = self._passed(first)
        made = np.concatenate([play_take(rest, one, rate_hz=self._rate_hz).sound[:, 0] for one in passed])
        return self._heard.seen(made[self._heard.used])

    def peak_of(self, chain: Chain) -> float:
        """The highest peak that a colour meets."""
        ahead = chain.colour.place == "before"
        cell = Cell() if ahead else chain.cell
        return float(max(np.max(np.abs(one)) for one in self._passed(Chain(chain.filter_in, cell)))) + 1e-9

    def _passed(self, chain: Chain) -> list[Array]:
        if self._kept is None or self._kept[0] != chain:
            pieces = [self._heard.dry[piece] for piece in self._heard.pieces]
            passed = [play_take(chain, one, rate_hz=self._rate_hz).sound[:, 0] for one in pieces]
            self._kept = chain, passed
            self.walked += self._heard.dry.size
        return self._kept[1]
