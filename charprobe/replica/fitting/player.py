"""Chains played over what a fit hears: what `solve` runs."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import replace
from typing import Any, TypeVar, cast

import numpy as np

from charprobe.replica.cell import CLOSE_DB, NO_TABLE, RunningCell, answered_db, readings
from charprobe.replica.colour import shaped, table_of
from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.sounds import through
from charprobe.replica.fitting.threads import in_threads
from charprobe.replica.flat import DETECTOR, flatten
from charprobe.replica.parts import Cell, Chain, Colour
from charprobe.values.arrays import Array

LONGEST_S = 0.1  # of look-ahead
LN_DB = 20 / np.log(10)
FILTERED = 2.5  # times what a cell takes for a sample: a side's filters, or a colour without aliasing
Made = TypeVar("Made")


class Player:
    """Plays chains in so many threads; what they share with the first, or those before did, is made once.

    `walked` counts samples that were sent through cells, `beside` what else was done in the same measure, see
    `Budget`.
    """

    def __init__(self, heard: Heard, rate_hz: float, threads: int = 1) -> None:
        self._heard, self._rate_hz, self._threads = heard, rate_hz, threads
        self._sound = [heard.dry[piece] for piece in heard.pieces]
        self._kept: list[dict[Hashable, Any]] = [{}, {}]
        self.walked, self.beside = 0, 0.0

    def play(self, chains: Sequence[Chain]) -> Iterator[Array]:
        """Output at the samples that count, as it is seen, one after the other; shape (m,)."""
        size, keys = self._heard.dry.size, [self._keys(chain) for chain in chains]
        self.walked += len({key[-1] for key in keys}) * size
        dear = sum(
            bool(one.filter_out) + (one.colour.oversampled and bool(one.colour.amplitude)) for one in chains
        )
        self.beside += FILTERED * (dear + len({one.filter_in for one in chains} - {()})) * size
        self._kept = [{}, self._kept[0]]
        self._cell(chains[0], keep=True)
        return in_threads(self._output, chains, min(self._threads, len(chains)))

    def leaving(self, chain: Chain) -> list[Array]:
        """What leaves the cell; its gain looks ahead by samples that need not be whole."""
        made, ahead = [], chain.cell.lookahead_s * self._rate_hz
        whole, part = int(ahead), ahead % 1
        for piece, gain in zip(*self._cell(chain, keep=False), strict=True):
            met = gain[whole : whole + piece.size]
            if part:
                met = met + part * (gain[whole + 1 : whole + 1 + piece.size] - met)
            made.append(piece * np.exp((met + chain.cell.makeup_db) / LN_DB))
        return made

    @np.errstate(over="ignore", invalid="ignore")  # a trial that runs away is no better than the last one
    def _output(self, chain: Chain) -> Array:
        made = self.leaving(chain)
        if chain.colour.place != "before":
            made = [_bent(piece, chain.colour) for piece in made]
        made = [through(piece, chain.filter_out, self._rate_hz, backwards=False) for piece in made]
        return self._heard.seen(np.concatenate(made)[self._heard.used])

    def _keys(self, chain: Chain) -> tuple[Hashable, ...]:
        """What enters the cell, what its detector reads, and its gain, each by all that it depends on."""
        row, colour = flatten(chain.cell), chain.colour
        enters = chain.filter_in, colour if colour.place == "before" else None
        looped = colour if colour.place == "in loop" else None
        return enters, (enters, row[DETECTOR].tobytes()), (enters, row.tobytes(), looped)

    def _cell(self, chain: Chain, *, keep: bool) -> tuple[list[Array], list[Array]]:
        """What enters the cell, and its gain in dB without make-up, `LONGEST_S` further without a loop."""
        cell = replace(chain.cell, makeup_db=0.0, lookahead_s=0.0)
        colour, rate_hz = chain.colour, self._rate_hz
        enters, reads, gains = self._keys(chain)

        def known(key: Hashable, make: Callable[[Array], Array], of: list[Array]) -> list[Array]:
            made = next((some[key] for some in self._kept if key in some), None) or [make(one) for one in of]
            if keep:
                self._kept[0][key] = made
            return cast(list[Array], made)

        def entering(piece: Array) -> Array:
            piece = through(piece, chain.filter_in, rate_hz, backwards=False)
            return _bent(piece, colour) if colour.place == "before" else piece

        def looped(piece: Array) -> Array:
            table = table_of(colour) if colour.place == "in loop" else NO_TABLE
            running = RunningCell(cell, rate_hz=rate_hz, channels=1, table=table)
            return running.play(piece[:, None], reached=CLOSE_DB).gain_db[:, 0]

        def read(piece: Array) -> Array:
            return readings(replace(cell, lookahead_s=LONGEST_S), piece, rate_hz=rate_hz)

        def answered(reading: Array) -> Array:
            return answered_db(cell, reading, rate_hz=rate_hz)

        sound = known(enters, entering, self._sound)
        if not cell.bends:
            return sound, [np.zeros(piece.size + round(LONGEST_S * rate_hz)) for piece in sound]
        if cell.loop == "feedback":
            return sound, known(gains, looped, sound)
        return sound, known(gains, answered, known(reads, read, sound))


def _bent(sound: Array, colour: Colour) -> Array:
    if not colour.amplitude:
        return sound
    return shaped(sound, table_of(colour), oversampled=colour.oversampled)


def in_samples(cell: Cell, *, rate_hz: float) -> Cell:
    """The cell that looks ahead by whole samples: a part of one is none."""
    return replace(cell, lookahead_s=round(cell.lookahead_s * rate_hz) / rate_hz)
