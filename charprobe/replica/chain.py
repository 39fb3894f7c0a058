"""The whole stage, played forwards or taken back, in blocks of any length: memory stays flat."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal import oaconvolve

from charprobe.replica.cell import NO_TABLE, Passed, RunningCell
from charprobe.replica.colour import LEAST_SLOPE, REACH, is_flat, shaped, table_of, unshaped
from charprobe.replica.filters import taps
from charprobe.replica.parts import Cell, Chain, Colour, Section
from charprobe.values.arrays import Array, Flags
from charprobe.values.errors import ReplicaError

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
    sound = _filtered(iter(blocks), [chain.filter_in], rate_hz, backwards=False)
    if colour.place == "before":
        sound = _coloured(sound, colour)
    sound = _through_cell(sound, cell, rate_hz, _loop_table(colour), heard)
    if colour.place != "before":
        sound = _coloured(sound, colour)
    sound = _filtered(sound, [chain.filter_out], rate_hz, backwards=False)
    return sound if chain.polarity == 1 else (-block for block in sound)


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


def take_back(
    chains: Sequence[Chain], blocks: Iterable[Array], *, rate_hz: float,
    heard: Heard | None = None, flat: Callable[[Flags], None] | None = None,
) -> Blocks:  # fmt: skip
    """Find what went into a stage, from what came out.

    Parameters
    ----------
    chains : sequence of Chain
        The stage; behind it the same structure with other numbers, to learn what they do to the result.
    blocks : iterable of ndarray, shape (n, len(chains) * channels)
        The printed sound once for each chain, side by side.
    rate_hz : float > 0
        Sampling rate.
    heard : callable or None
        Gets what passes the cell of the first chain, block by block.
    flat : callable or None
        Gets whether samples lie where the first colour is all but flat, block by block.

    Yields
    ------
    ndarray, shape (n, len(chains) * channels)
        As many samples as came in.
    """
    first = chains[0]
    if round(first.cell.lookahead_s * rate_hz) > 0:
        raise ReplicaError(
            "this setting looks ahead: its gain depends on sound that the printed take shows only later, and "
            "is not taken back. Nothing was written"
        )
    sound: Blocks = (block * first.polarity for block in blocks)
    sound = _filtered(sound, [chain.filter_out for chain in chains], rate_hz, backwards=True)
    if first.colour.place == "before":
        sound = _back_through_cells(sound, chains, rate_hz, heard)
        sound = _uncoloured(sound, [chain.colour for chain in chains], flat)
    else:
        sound = _uncoloured(sound, [chain.colour for chain in chains], flat)
        sound = _back_through_cells(sound, chains, rate_hz, heard)
    return _filtered(sound, [chain.filter_in for chain in chains], rate_hz, backwards=True)


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


def _back_through_cells(
    sound: Blocks, chains: Sequence[Chain], rate_hz: float, heard: Heard | None
) -> Blocks:
    cells: list[RunningCell] = []
    for block in sound:
        parts = np.split(block, len(chains), axis=1)
        cells = cells or [
            _running(chain.cell, rate_hz, parts[0], _loop_table(chain.colour)) for chain in chains
        ]
        passed = [cells[0].take_back(parts[0])]
        passed += [
            cell.take_back(part, like=passed[0]) for cell, part in zip(cells[1:], parts[1:], strict=True)
        ]
        if heard is not None:
            heard(passed[0])
        yield np.concatenate([one.sound for one in passed], axis=1)


def _followed_by_silence(sound: Blocks, count: int) -> Blocks:
    channels = 0
    for block in sound:
        channels = block.shape[1]
        yield block
    if count and channels:
        yield np.zeros((count, channels))


def _coloured(sound: Blocks, colour: Colour) -> Blocks:
    if not colour.amplitude:
        return sound
    table = table_of(colour)

    def work(piece: Array) -> Array:
        return np.stack([shaped(one, table, oversampled=colour.oversampled) for one in piece.T], axis=1)

    return with_reach(sound, REACH if colour.oversampled else 0, work)


def _uncoloured(sound: Blocks, colours: Sequence[Colour], flat: Callable[[Flags], None] | None) -> Blocks:
    """Undo the first colour in full; the others, which hardly differ, by the slope of the first."""
    first = colours[0]
    if not first.amplitude:
        yield from sound
        return
    tables = [table_of(colour) for colour in colours]

    def work(piece: Array) -> Array:
        parts = np.split(piece, len(colours), axis=1)
        undone = np.stack(
            [unshaped(one, tables[0], oversampled=first.oversampled) for one in parts[0].T], axis=1
        )
        slope = np.maximum(1 + np.interp(undone, tables[0][:, 2], tables[0][:, 1]), LEAST_SLOPE)
        curve = _curve(undone, tables[0])
        others = [
            undone + (part - parts[0] - _curve(undone, table) + curve) / slope
            for part, table in zip(parts[1:], tables[1:], strict=True)
        ]
        return np.concatenate([undone, *others], axis=1)

    for block in with_reach(sound, GUARD if first.oversampled else 0, work):
        if flat is not None:
            flat(is_flat(block[:, : block.shape[1] // len(colours)], tables[0]))
        yield block


def _curve(samples: Array, table: Array) -> Array:
    return np.asarray(np.interp(samples, table[:, 2], table[:, 0]))


def _filtered(
    sound: Blocks, filters: Sequence[tuple[Section, ...]], rate_hz: float, *, backwards: bool
) -> Blocks:
    """Send parts side by side through the sections of each, or through what undoes them."""
    if not filters[0]:
        return sound
    made = [taps(sections, rate_hz=float(rate_hz), backwards=backwards) for sections in filters]
    reach = max(max(before, kernel.size - before) for kernel, before in made)

    def work(piece: Array) -> Array:
        parts = np.split(piece, len(filters), axis=1)
        done = [
            oaconvolve(part, kernel[:, None], axes=0)[before : before + part.shape[0]]
            for part, (kernel, before) in zip(parts, made, strict=True)
        ]
        return np.concatenate(done, axis=1)

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
