"""The whole stage, played forwards or taken back, in blocks of any length: memory stays flat."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from scipy.signal import oaconvolve

from charprobe.replica.cell import NO_TABLE, Passed, RunningCell
from charprobe.replica.colour import REACH, shaped, table_of, unshaped
from charprobe.replica.filters import taps
from charprobe.replica.parts import Cell, Chain, Colour, Section
from charprobe.values.arrays import Array

Blocks = Iterator[Array]
Heard = Callable[[Passed], None]
GUARD = 4 * REACH  # samples on each side while colour is undone: what its turns couple


@dataclass(frozen=True)
class Played:
    """A take that went through, shape (n, channels), and the gain of the cell at each sample in dB."""

    sound: Array
    gain_db: Array


def play(chain: Chain, blocks: Iterable[Array], *, rate_hz: float, heard: Heard | None = None) -> Blocks:
    """Send blocks of shape (n, channels) through a stage; as many samples come out, latency left out.

    Parameters
    ----------
    chain : Chain
        The stage.
    blocks : iterable of ndarray
        Sound, full scale = 1, silence before and after it.
    rate_hz : float > 0
        Sampling rate.
    heard : callable or None
        Gets what passes the cell, block by block.
    """
    cell, colour = chain.cell, chain.colour
    sound = _filtered(iter(blocks), chain.filter_in, rate_hz, backwards=False)
    if colour.place == "before":
        sound = _coloured(sound, colour, backwards=False)
    sound = _through_cell(sound, cell, rate_hz, _loop_table(colour), heard)
    if colour.place != "before":
        sound = _coloured(sound, colour, backwards=False)
    return _turned(_filtered(sound, chain.filter_out, rate_hz, backwards=False), chain.polarity)


def play_take(chain: Chain, samples: Array, *, rate_hz: float) -> Played:
    """Send a whole take, shape (n,) or (n, channels), through a stage; see `play`.

    Examples
    --------
    >>> played = play_take(Chain(cell=Cell(makeup_db=20.0)), np.array([0.01, 0.02]), rate_hz=48_000)
    >>> played.sound[:, 0].round(6).tolist(), played.gain_db[:, 0].tolist()
    ([0.1, 0.2], [20.0, 20.0])
    """
    passed: list[Passed] = []
    wide = samples[:, None] if samples.ndim == 1 else samples
    sound = np.concatenate(list(play(chain, [wide], rate_hz=rate_hz, heard=passed.append)))
    return Played(sound, np.concatenate([part.gain_db for part in passed]))


def take_back(chain: Chain, blocks: Iterable[Array], *, rate_hz: float, heard: Heard | None = None) -> Blocks:
    """Find what went into a stage, from what came out in blocks of shape (n, channels); see `play`."""
    cell, colour = chain.cell, chain.colour
    sound = _filtered(_turned(iter(blocks), chain.polarity), chain.filter_out, rate_hz, backwards=True)
    if colour.place != "before":
        sound = _coloured(sound, colour, backwards=True)
    sound = _back_through_cell(sound, cell, rate_hz, _loop_table(colour), heard)
    if colour.place == "before":
        sound = _coloured(sound, colour, backwards=True)
    return _filtered(sound, chain.filter_in, rate_hz, backwards=True)


def _loop_table(colour: Colour) -> Array:
    return table_of(colour) if colour.place == "in loop" else NO_TABLE


def _running(cell: Cell, rate_hz: float, block: Array, table: Array) -> RunningCell:
    return RunningCell(cell, rate_hz=rate_hz, channels=block.shape[1], table=table)


def _through_cell(sound: Blocks, cell: Cell, rate_hz: float, table: Array, heard: Heard | None) -> Blocks:
    """Play the cell; with look-ahead the sound waits until the gain has heard so much more."""
    late = round(cell.lookahead_s * rate_hz)
    running: RunningCell | None = None
    waiting: Array | None = None
    for block in _followed_by_silence(sound, late):
        if running is None or waiting is None:
            running = _running(cell, rate_hz, block, table)
            waiting = np.zeros((0, block.shape[1]))
        passed = running.play(block)
        if late:
            waiting = np.concatenate([waiting, block])
            count = max(0, waiting.shape[0] - late)
            gain_db = passed.gain_db[block.shape[0] - count :] if count < block.shape[0] else passed.gain_db
            passed = Passed(waiting[:count] * 10 ** (gain_db / 20), gain_db, passed.lost[:count])
            waiting = waiting[count:]
        if heard is not None:
            heard(passed)
        yield passed.sound


def _back_through_cell(
    sound: Blocks, cell: Cell, rate_hz: float, table: Array, heard: Heard | None
) -> Blocks:
    running: RunningCell | None = None
    for block in sound:
        running = running or _running(cell, rate_hz, block, table)
        passed = running.take_back(block)
        if heard is not None:
            heard(passed)
        yield passed.sound


def _followed_by_silence(sound: Blocks, count: int) -> Blocks:
    channels = 0
    for block in sound:
        channels = block.shape[1]
        yield block
    if count and channels:
        yield np.zeros((count, channels))


def _turned(sound: Blocks, polarity: int) -> Blocks:
    return sound if polarity == 1 else (-block for block in sound)


def _coloured(sound: Blocks, colour: Colour, *, backwards: bool) -> Blocks:
    if not colour.amplitude:
        return sound
    table, bend = table_of(colour), unshaped if backwards else shaped
    reach = 0 if not colour.oversampled else GUARD if backwards else REACH

    def work(piece: Array) -> Array:
        bent = [bend(channel, table, oversampled=colour.oversampled) for channel in piece.T]
        return np.stack(bent, axis=1)

    return with_reach(sound, reach, work)


def _filtered(sound: Blocks, sections: tuple[Section, ...], rate_hz: float, *, backwards: bool) -> Blocks:
    if not sections:
        return sound
    kernel, before = taps(sections, rate_hz=float(rate_hz), backwards=backwards)
    reach = max(before, kernel.size - before)

    def work(piece: Array) -> Array:
        return np.asarray(oaconvolve(piece, kernel[:, None], axes=0)[before : before + piece.shape[0]])

    return with_reach(sound, reach, work)


def with_reach(sound: Blocks, reach: int, work: Callable[[Array], Array]) -> Blocks:
    """Let `work` treat blocks that see `reach` samples more on both sides, zeros beyond the ends.

    `work` keeps the length of what it gets; as many samples come out as went in.
    """
    if reach == 0:
        yield from map(work, sound)
        return
    kept: Array | None = None
    for block in sound:
        if kept is None:
            kept = np.zeros((reach, block.shape[1]))
        kept = np.concatenate([kept, block])
        if kept.shape[0] >= 3 * reach:
            yield work(kept)[reach:-reach]
            kept = kept[-2 * reach :]
    if kept is not None:
        kept = np.concatenate([kept, np.zeros((reach, kept.shape[1]))])
        if kept.shape[0] > 2 * reach:
            yield work(kept)[reach:-reach]
