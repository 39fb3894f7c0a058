"""A gain cell at one sampling rate: played block by block, taken back, or run over one channel for fits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.replica import loops
from charprobe.replica.coefficients import coefficients, quadrature_sections
from charprobe.replica.flat import codes_of, flatten
from charprobe.replica.parts import Cell
from charprobe.replica.side_chain import FILTER
from charprobe.replica.steps import STATE
from charprobe.values.arrays import Array, Flags

NO_TABLE = np.zeros((1, 3))  # of a colour that is not in the loop
EXACT_DB, CLOSE_DB = 1e-9, 1e-4  # error of the level at which a search ends


@dataclass(frozen=True)
class Passed:
    """A block behind the cell.

    Attributes
    ----------
    sound : ndarray, shape (n, channels)
        Output, or when taken back the input.
    gain_db : ndarray, shape (n, channels)
        Gain of each sample, make-up included.
    lost : ndarray of bool, shape (n, channels)
        Where no input gives the output that is to be taken back; `sound` is then a guess.
    """

    sound: Array
    gain_db: Array
    lost: Flags


class RunningCell:
    """A cell that is fed block by block, from rest; look-ahead is what feeds it with does, see `chain`.

    Parameters
    ----------
    cell : Cell
        What it is.
    rate_hz : float > 0
        Sampling rate.
    channels : int
        Channels side by side, linked as the cell says.
    table : ndarray, shape (m, 3)
        Colour that a feedback detector hears too, see `colour.table_of`.

    Examples
    --------
    >>> from charprobe.replica.parts import Bend
    >>> cell = Cell(bends=(Bend(-20.0, 1.0),))  # instant limiter
    >>> running = RunningCell(cell, rate_hz=48_000, channels=1, table=NO_TABLE)
    >>> float(running.play(np.array([[1.0]])).sound[0, 0].round(6))
    0.1
    """

    def __init__(self, cell: Cell, *, rate_hz: float, channels: int, table: Array) -> None:
        self.cell = cell
        self._codes = codes_of(cell)
        self._row = coefficients(flatten(cell)[None], self._codes, rate_hz=rate_hz)[0]
        self._chains = quadrature_sections(float(rate_hz), cell.detector.split_hz)
        self._table = table
        self._filters, self._stores = _at_rest(channels, self._chains)

    def play(self, block: Array, *, reached: float = EXACT_DB) -> Passed:
        """Send the next samples through; shape (n, channels); what a loop asks for is met to `reached`."""
        passed = self._run(block, backwards=False, reached=reached)
        return Passed(passed.sound * 10 ** (self.cell.makeup_db / 20), passed.gain_db, passed.lost)

    def take_back(self, block: Array, *, like: Passed | None = None) -> Passed:
        """Find what went in for the next output samples, shape (n, channels).

        `like` is what a cell that hardly differs found for the same samples: the search starts there and
        ends earlier: with its last step within 1e-5 dB where the gain moves in more than a few samples.
        """
        sound = block * 10 ** (-self.cell.makeup_db / 20)
        if like is None:
            return self._run(sound, backwards=True)
        rise = -np.diff(like.gain_db, axis=0, prepend=like.gain_db[:1])
        return self._run(sound, backwards=True, rise=rise, reached=CLOSE_DB)

    def _run(
        self, block: Array, *, backwards: bool, rise: Array | None = None, reached: float = EXACT_DB
    ) -> Passed:
        sound = np.ascontiguousarray(block, dtype=float)
        out, reduction = np.empty_like(sound), np.empty_like(sound)
        lost = np.zeros(sound.shape, dtype=np.bool_)
        if not self.cell.bends:
            return Passed(sound, np.full(sound.shape, self.cell.makeup_db), lost)
        rise = np.zeros(sound.shape) if rise is None else rise
        room = np.empty((out.shape[1], 4)), np.empty_like(self._stores)
        loops.run_cell(
            sound, backwards, rise, reached, self._filters, self._stores, self._row, self._codes,
            *self._chains, self._table, *room, out, reduction, lost,
        )  # fmt: skip
        return Passed(out, self.cell.makeup_db - reduction, lost)


def gain_db(cell: Cell, samples: Array, *, rate_hz: float) -> Array:
    """Gain in dB at each sample of one channel, shape (n,), from rest; make-up included, look-ahead done.

    Examples
    --------
    >>> from charprobe.replica.parts import Bend
    >>> gain_db(Cell(bends=(Bend(-20.0, 0.5),)), np.ones(2), rate_hz=48_000).round(6).tolist()
    [-10.0, -10.0]
    """
    if cell.loop == "feed-forward":
        return answered_db(cell, readings(cell, samples, rate_hz=rate_hz), rate_hz=rate_hz)
    return RunningCell(cell, rate_hz=rate_hz, channels=1, table=NO_TABLE).play(samples[:, None]).gain_db[:, 0]


def readings(cell: Cell, samples: Array, *, rate_hz: float) -> Array:
    """What the detector of a feed-forward cell reads: the same for all that share `flat.DETECTOR`.

    Parameters
    ----------
    cell : Cell
        Whose.
    samples : ndarray, shape (n,)
        Input of the cell, from rest; full scale = 1.
    rate_hz : float > 0
        Sampling rate.

    Returns
    -------
    ndarray, shape (n,)
        For `answered_db`: in dB, or as it is where that is what the cell smooths. The sample that a gain
        meets, look-ahead done, is that of the same place.
    """
    late, codes = round(cell.lookahead_s * rate_hz), codes_of(cell)
    sound = np.concatenate([samples, np.zeros(late)])
    chains = quadrature_sections(float(rate_hz), cell.detector.split_hz)
    filters, stores = _at_rest(1, chains)
    numbers, out = coefficients(flatten(cell)[None], codes, rate_hz=rate_hz)[0], np.empty(sound.size)
    loops.read(sound, filters, stores, numbers, codes, *chains, np.empty_like(stores), out)
    return out


def answered_db(cell: Cell, reading: Array, *, rate_hz: float) -> Array:
    """Gain in dB, shape (n,), that a feed-forward cell makes of its `readings`."""
    codes, stores = codes_of(cell), np.zeros((1, STATE))
    reduction, numbers = np.empty(reading.size), coefficients(flatten(cell)[None], codes, rate_hz=rate_hz)[0]
    loops.answer(reading, stores, numbers, codes, np.empty_like(stores), reduction)
    return np.asarray(cell.makeup_db - reduction[round(cell.lookahead_s * rate_hz) :])


def _at_rest(channels: int, chains: tuple[Array, Array]) -> tuple[Array, Array]:
    """State of filters and stores in silence."""
    filters = FILTER + 2 * (chains[0].size + chains[1].size) + 4
    return np.zeros((channels, filters)), np.zeros((channels, STATE))
