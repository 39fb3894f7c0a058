"""All numbers of a chain at once: what filters, colour and cell each make up for in the others."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from charprobe.replica.fitting.cell_fit import Fitted, Numbers, as_knees, is_narrow, price_of
from charprobe.replica.fitting.colour_fit import curve_of, row_of
from charprobe.replica.fitting.filter_fit import Linear, numbers_of, with_numbers
from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.least_squares import Effort, Knob, Solution, solve
from charprobe.replica.fitting.player import Player
from charprobe.replica.parts import Cell, Chain, Colour
from charprobe.values.arrays import Array

WHOLE, LAST, BARE = Effort(4, 0.02, spread=False), Effort(6, 1e-4), Effort(6, 1e-3, spread=False)


@dataclass(frozen=True)
class Whole:
    """Filters, colour and cell, and whether they were fitted together."""

    linear: Linear
    colour: Colour
    fitted: Fitted
    together: bool = False

    @property
    def chain(self) -> Chain:
        """As it plays."""
        return Chain(self.linear.ahead, self.fitted.cell, self.colour, self.linear.sections)


def fit_whole(
    near: Whole, heard: Heard, held_out: Heard, *, rate_hz: int, effort: Effort, threads: int = 1
) -> Whole:
    """Fit the numbers of a cell, of the filters around it, and of a colour to the waveform as captured.

    A sweep shows filters as a cell that it turns down leaves them, and settled tones show a colour no further
    than they reach; what begins suddenly goes further than that. It starts `near`, where a colour goes on as
    far as the sound does; of what is heard neither filters nor colour were taken off.
    """
    fitted, linear, colour = near.fitted, near.linear, near.colour
    numbers = Numbers(fitted.cell, fitted.knobs, knees=is_narrow(fitted.cell))
    filters = [*linear.ahead, *linear.sections]
    player = Player(heard, rate_hz, threads)
    tuning, at = numbers_of(filters, rate_hz)
    knobs, start = [*fitted.knobs, *tuning], [*numbers.values_of(fitted.cell), *at]
    if colour.amplitude:
        met = Chain(linear.ahead, Cell() if colour.place == "before" else fitted.cell)
        peak = float(max(np.max(np.abs(piece)) for piece in player.leaving(met))) + 1e-9
        bent = row_of(colour, peak)
        knobs += [Knob(("colour",), -40.0, 20.0, step=0.05)] * bent.size
        start += [*bent]

    def chain_at(row: Array) -> Chain:
        cell, left = numbers.cell_at(row[: len(fitted.knobs)]), iter(row[len(fitted.knobs) :].tolist())
        made = with_numbers(filters, left)
        curve = curve_of(colour, peak, np.array(list(left))) if colour.amplitude else colour
        split = len(linear.ahead)
        return Chain(made[:split], cell, curve, made[split:])

    def rough(rows: Array) -> Iterator[Array]:
        return player.play([without_aliasing(chain_at(row)) for row in rows])

    def predict(rows: Array) -> Iterator[Array]:
        return player.play([chain_at(row) for row in rows])

    found = solve(
        predict, heard.target, heard.weight, heard.block, knobs, np.array(start),
        effort=effort, slopes_of=rough,
    )  # fmt: skip
    chain, own = chain_at(found.values), len(fitted.knobs)
    [made] = Player(held_out, rate_hz, threads).play([chain])
    off = (held_out.target - made) * held_out.weight
    values = Numbers(chain.cell, fitted.knobs, knees=True).values_of(chain.cell)
    covariance = found.covariance[:own, :own]
    if effort.spread:
        covariance = as_knees(covariance, chain.cell, fitted.knobs, values, rate_hz=rate_hz)
    fitted = replace(
        fitted,
        cell=chain.cell,
        solution=Solution(values, found.score, covariance),
        held_out=float(np.sqrt(np.mean(off**2))),
        work=price_of(fitted.structure) * player.walked + player.beside,
    )
    linear = replace(linear, ahead=chain.filter_in, sections=chain.filter_out)
    return Whole(linear, chain.colour, fitted, together=True)


def without_aliasing(chain: Chain) -> Chain:
    """The chain with its colour at the sampling rate: near enough for differences, at a twentieth."""
    return replace(chain, colour=replace(chain.colour, oversampled=False))
