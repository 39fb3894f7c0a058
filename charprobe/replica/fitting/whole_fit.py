"""All numbers of a chain at once: what filters, colour and cell each make up for in the others."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from charprobe.replica.cell import NO_TABLE, RunningCell, answered_db, readings
from charprobe.replica.colour import shaped, table_of
from charprobe.replica.fitting.cell_fit import LN_DB, Fitted, Gains, Kept, as_knees, is_narrow, price_of
from charprobe.replica.fitting.colour_fit import curve_of, row_of
from charprobe.replica.fitting.filter_fit import Linear, bounds_of
from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.least_squares import Effort, Knob, Solution, solve
from charprobe.replica.fitting.sounds import through
from charprobe.replica.fitting.threads import in_threads
from charprobe.replica.flat import DETECTOR, flatten
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


def fit_whole(
    near: Whole, heard: Heard, held_out: Heard, *, rate_hz: int, effort: Effort, threads: int = 1
) -> Whole:
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
    threads : int
        At the same time; what is found does not depend on it.
    """
    fitted, linear, colour = near.fitted, near.linear, near.colour
    gains = Gains(fitted.cell, fitted.knobs, heard, rate_hz, knees=is_narrow(fitted.cell))
    filters = [*linear.ahead, *linear.sections]
    player = _Player(heard, rate_hz, threads)
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

    def rough(rows: Array) -> Iterator[Array]:
        return player.play([without_aliasing(chain_at(row)) for row in rows])

    def predict(rows: Array) -> Iterator[Array]:
        return player.play([chain_at(row) for row in rows])

    found = solve(
        predict, heard.target, heard.weight, heard.block, knobs, np.array(start),
        effort=effort, slopes_of=rough,
    )  # fmt: skip
    chain, own = chain_at(found.values), len(fitted.knobs)
    [made] = _Player(held_out, rate_hz, threads).play([chain])
    off = (held_out.target - made) * held_out.weight
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
    """Plays chains over what is heard; what they have in common with the first of them is made once."""

    def __init__(self, heard: Heard, rate_hz: int, threads: int) -> None:
        self._heard, self._rate_hz, self._threads = heard, rate_hz, threads
        self._kept = Kept()
        self.walked = 0  # samples so far

    def play(self, chains: Sequence[Chain]) -> Iterator[Array]:
        """Output at the samples that count, as it is seen, one after the other; shape (m,)."""
        self.walked += len({self._keys(chain)[-1] for chain in chains}) * self._heard.dry.size
        self._kept.begin()
        self._passed(chains[0], keep=True)

        @np.errstate(over="ignore", invalid="ignore")  # a trial that runs away is no better than the last one
        def output(chain: Chain) -> Array:
            colour, makeup = chain.colour, 10 ** (chain.cell.makeup_db / 20)
            made = [makeup * piece for piece in self._passed(chain, keep=False)]
            if colour.place != "before":
                made = [_bent(piece, colour) for piece in made]
            made = [through(piece, chain.filter_out, float(self._rate_hz), backwards=False) for piece in made]
            return self._heard.seen(np.concatenate(made)[self._heard.used])

        return in_threads(output, chains, min(self._threads, len(chains)))

    def peak_of(self, chain: Chain) -> float:
        """The highest peak that a colour meets."""
        ahead = chain.colour.place == "before"
        cell = Cell() if ahead else chain.cell
        passed = self._passed(Chain(chain.filter_in, cell), keep=False)
        return float(max(np.max(np.abs(one)) for one in passed)) * 10 ** (cell.makeup_db / 20) + 1e-9

    def _keys(self, chain: Chain) -> tuple[tuple[object, ...], ...]:
        """What enters the cell, what its detector reads, and what leaves it, each by what it depends on."""
        row, colour = flatten(chain.cell), chain.colour
        enters = chain.filter_in, colour if colour.place == "before" else None
        read = *enters, row[DETECTOR].tobytes(), round(chain.cell.lookahead_s * self._rate_hz)
        return enters, read, (*read, row.tobytes(), colour if colour.place == "in loop" else None)

    def _passed(self, chain: Chain, *, keep: bool) -> list[Array]:
        """What leaves the cell without its make-up."""
        cell, colour, rate_hz = replace(chain.cell, makeup_db=0.0), chain.colour, float(self._rate_hz)
        row, (enters, read, leaves) = flatten(cell), self._keys(chain)

        def entering() -> list[Array]:
            sound = [self._heard.dry[piece] for piece in self._heard.pieces]
            sound = [through(piece, chain.filter_in, rate_hz, backwards=False) for piece in sound]
            return [_bent(piece, colour) for piece in sound] if colour.place == "before" else sound

        def looped() -> list[Array]:
            table = table_of(colour) if colour.place == "in loop" else NO_TABLE
            running = (RunningCell(cell, rate_hz=rate_hz, channels=1, table=table) for _ in sound)
            return [one.play(piece[:, None]).sound[:, 0] for one, piece in zip(running, sound, strict=True)]

        def answered() -> list[Array]:
            gains = (answered_db(cell, row, one, rate_hz=rate_hz) for one in reading)
            return [piece * np.exp(gain / LN_DB) for piece, gain in zip(sound, gains, strict=True)]

        sound = self._kept.known(enters, entering, keep=keep)
        if cell.loop == "feedback":
            return self._kept.known(leaves, looped, keep=keep)
        reading = self._kept.known(
            read, lambda: [readings(cell, row, piece, rate_hz=rate_hz) for piece in sound], keep=keep
        )
        return self._kept.known(leaves, answered, keep=keep)


def _bent(sound: Array, colour: Colour) -> Array:
    if not colour.amplitude:
        return sound
    return shaped(sound, table_of(colour), oversampled=colour.oversampled)
