"""Which filters stand ahead of a colour and which behind: told by harmonics against pitch and level."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from charprobe.placing.take import held
from charprobe.replica.filters import response
from charprobe.replica.fitting.colour_fit import PLACES, STARTS, added_by, curve_of
from charprobe.replica.fitting.filter_fit import BETTER, Linear, fitted, swept
from charprobe.replica.fitting.heard import DEEPEST
from charprobe.replica.fitting.pair import Noise, Pair
from charprobe.replica.fitting.search import AT_NOISE
from charprobe.replica.fitting.stretches import SETTLED, TAIL_S, TOP_SHARE
from charprobe.replica.model import GOOD_GAIN_DB
from charprobe.replica.parts import Cell, Colour, Section
from charprobe.stimulus.kinds.steady import Tones
from charprobe.values.arrays import Array, Complex, Index

ORDERS = np.arange(1, 8)
FINEST = 1e-3  # of a fundamental: what filters of few sections leave
HARMONIC = 2.0  # times what noise leaves of harmonics: less is no colour
TURN = np.pi * np.arange(129) / 128  # half a period of a cosine
_COSINES = np.cos(np.outer(ORDERS, TURN)) * np.r_[0.5, np.ones(127), 0.5] / 64
PAIRS = (  # of filters that undo each other: no sweep shows them
    Section("high shelf", 3000.0), Section("low shelf", 200.0), Section("bell", 1000.0),
)  # fmt: skip
GAINS_DB = (6.0, -6.0, 36.0)  # of the one ahead, to begin with; the last integrates lows, or differentiates
ROUNDS = 2
CLOSE = 10 ** (GOOD_GAIN_DB / 20) - 1  # of the tones: what is met no better has a memory of its own


@dataclass(frozen=True)
class Shown:
    """Settled tones, and the response of a sweep with the filters that it shows.

    `hz` and `size`, shape (n,), are of fundamentals as they enter; `made`, shape (n, orders), what leaves,
    turned back by the phase of what enters; `weight` one over its standard error, 0 where it is not told.
    """

    hz: Array
    size: Array
    made: Complex
    weight: Array
    swept: tuple[Array, Complex] | None
    linear: Linear
    rate_hz: int


@dataclass(frozen=True)
class Around:
    """Filters around a gain and a curve begun from one of `STARTS`, and their error of tones.

    That is weighted, and re the tones.
    """

    linear: Linear
    colour: Colour
    cell: Cell
    begun: Array
    error: float
    close: float


def shown_by(pair: Pair, linear: Linear, noise: Noise) -> Shown | None:
    """Read the tones of a pair; None where there are none, or harmonics no more than noise leaves."""
    rate_hz, rows = pair.rate_hz, []
    for segment in held(pair.wet, Tones):
        for tone in segment.tones:
            stop = tone.stop - round(TAIL_S * rate_hz)
            sides = pair.read(tone.start + round(SETTLED * tone.length), stop)
            orders = ORDERS[(ORDERS == 1) | (ORDERS * tone.frequency_hz < TOP_SHARE * rate_hz)]
            both = np.stack([sides.dry, sides.wet], axis=1)
            dry, wet = phasors(both, orders, tone.frequency_hz / rate_hz).T
            made, weight = np.zeros(ORDERS.size, dtype=complex), np.zeros(ORDERS.size)
            made[: orders.size] = wet * (dry[0] / abs(dry[0])) ** -orders
            finest = np.where(orders > 1, DEEPEST, FINEST) * abs(wet[0])
            weight[: orders.size] = 1 / np.hypot(noise.wet * np.sqrt(2 / sides.wet.size), finest)
            rows.append((tone.frequency_hz, abs(dry[0]), made, weight))
    if not rows:
        return None
    hz, size, made, weight = (np.array(one) for one in zip(*rows, strict=True))
    if np.sqrt(np.mean(np.abs(made * weight)[:, 1:] ** 2)) < HARMONIC:
        return None
    return Shown(hz, size, made, weight, swept(pair, Cell()), linear, rate_hz)


def phasors(sound: Array, orders: Index, turn: float) -> Complex:
    """Orders of a tone of so many turns a sample, beside an offset that moves; shape (orders, ...)."""
    n = np.arange(len(sound))
    turns = np.exp(2j * np.pi * ((np.outer(orders, n) * turn) % 1.0))
    basis = np.vstack([np.ones(n.size), n / n.size - 0.5, turns.real, turns.imag])
    found = np.linalg.lstsq(basis.T, sound, rcond=None)[0][2:]
    return np.asarray(found[: orders.size] - 1j * found[orders.size :])


def around(shown: Shown) -> Around:
    """Place the filters of a sweep around a curve.

    Filters that undo each other, corners and ceilings of the curve are taken as far as tones speak for them.
    """
    placed = (shown.linear, *shown.linear.placements())
    best = min((_fitted(shown, one, STARTS[0]) for one in placed), key=lambda one: one.error)
    for _ in range(ROUNDS):
        tried = [_fitted(shown, one, best.begun) for one in _with_pairs(best.linear)]
        tried += [_fitted(shown, best.linear, one) for one in STARTS[1:] if best.begun is STARTS[0]]
        better = min(tried, key=lambda one: one.error)
        if best.error < AT_NOISE or better.error > BETTER * best.error:
            break
        best = better
    return best


def _with_pairs(linear: Linear) -> Iterator[Linear]:
    for one, gain_db in product(PAIRS, GAINS_DB):
        pair = [replace(one, gain_db=gain) for gain in (gain_db, -gain_db)]
        yield replace(linear, ahead=(*linear.ahead, pair[0]), sections=(pair[1], *linear.sections))


def _fitted(shown: Shown, near: Linear, begun: Array) -> Around:
    """Fit all numbers of filters, gain and curve to tones and sweep."""

    def left(placed: Linear, gain_db: float, row: Array) -> Complex:
        drive = shown.size * 10 ** (gain_db / 20) * response(placed.ahead, shown.hz)
        size, peak = np.abs(drive), np.abs(drive).max()
        sound = size[:, None] * np.cos(TURN)
        made = (sound + peak * np.interp(sound / peak, PLACES, added_by(row))) @ _COSINES.T
        turn = np.angle(drive) - 2 * np.pi * shown.hz * placed.late / shown.rate_hz
        made = made * np.exp(1j * np.outer(turn, ORDERS))
        return np.asarray(made * response(placed.sections, np.outer(shown.hz, ORDERS)) - shown.made)

    def besides(placed: Linear, gain_db: float, row: Array) -> Array:
        off = (left(placed, gain_db, row) * shown.weight).ravel()
        return np.concatenate([off.real, off.imag, row - begun])

    none = (np.zeros(0), np.zeros(0, dtype=complex))
    gain_db = float(20 * np.log10(np.median(np.abs(shown.made[:, 0]) / shown.size)))
    placed, gain_db, row, score = fitted(
        near, shown.swept or none, shown.rate_hz, gain_db=gain_db, more=begun, besides=besides
    )
    off = np.linalg.norm(left(placed, gain_db, row) * (shown.weight > 0)) / np.linalg.norm(shown.made)
    peak = float(np.max(shown.size * np.abs(response(placed.ahead, shown.hz)))) * 10 ** (gain_db / 20)
    return Around(placed, curve_of(Colour(), peak, row), Cell(makeup_db=gain_db), begun, score, float(off))
