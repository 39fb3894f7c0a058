"""Which filters stand ahead of a colour and which behind: told by harmonics against pitch and level."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from scipy.optimize import least_squares

from charprobe.placing.take import held
from charprobe.replica.colour import table_of
from charprobe.replica.filters import response
from charprobe.replica.fitting.colour_fit import CORNERS, ODD, curve_of
from charprobe.replica.fitting.filter_fit import BETTER, Linear, numbers_of, swept, with_numbers
from charprobe.replica.fitting.heard import DEEPEST
from charprobe.replica.fitting.pair import Noise, Pair
from charprobe.replica.fitting.search import AT_NOISE
from charprobe.replica.fitting.stretches import SETTLED, TAIL_S, TOP_SHARE
from charprobe.replica.parts import Cell, Colour, Section
from charprobe.stimulus.kinds.steady import Tones
from charprobe.values.arrays import Array, Complex

ORDERS = np.arange(1, 8)
FINEST = 1e-3  # of a fundamental: what filters of few sections leave
HARMONIC = 2.0  # times what noise leaves of harmonics: less is no colour
SWEPT = 2e-3  # the same of the response of a sweep, which is some 0.02 dB
TURN = np.pi * np.arange(129) / 128  # half a period of a cosine
_COSINES = np.cos(np.outer(ORDERS, TURN)) * np.r_[0.5, np.ones(127), 0.5] / 64
PAIRS = (  # of filters that undo each other: no sweep shows them
    Section("high shelf", 3000.0), Section("low shelf", 200.0), Section("bell", 1000.0),
)  # fmt: skip
ROUNDS = 2
CLOSE = 0.03  # of the tones, root mean square: what is met no better has a memory of its own


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
    """Filters around a gain and a curve, and their error of tones: weighted, and re the tones."""

    linear: Linear
    colour: Colour
    cell: Cell
    cornered: bool
    error: float
    close: float


def shown_by(pair: Pair, linear: Linear, noise: Noise) -> Shown | None:
    """Read the tones of a pair; None where there are none, or harmonics no more than noise leaves."""
    rate_hz, rows = pair.rate_hz, []
    for segment in held(pair.wet, Tones):
        for tone in segment.tones:
            stop = tone.stop - round(TAIL_S * rate_hz)
            sides = pair.read(tone.start + round(SETTLED * tone.length), stop)
            n, orders = np.arange(sides.wet.size), ORDERS[ORDERS * tone.frequency_hz < TOP_SHARE * rate_hz]
            turns = np.exp(2j * np.pi * ((np.outer(orders, n) * tone.frequency_hz / rate_hz) % 1.0))
            basis = np.vstack([np.ones(n.size), n / n.size - 0.5, turns.real, turns.imag])
            found = np.linalg.lstsq(basis.T, np.stack([sides.dry, sides.wet], axis=1), rcond=None)[0][2:]
            dry, wet = (found[: orders.size] - 1j * found[orders.size :]).T
            made, weight = np.zeros(ORDERS.size, dtype=complex), np.zeros(ORDERS.size)
            made[: orders.size] = wet * (dry[0] / abs(dry[0])) ** -orders
            finest = np.where(orders > 1, DEEPEST, FINEST) * abs(wet[0])
            weight[: orders.size] = 1 / np.hypot(noise.wet * np.sqrt(2 / n.size), finest)
            rows.append((tone.frequency_hz, abs(dry[0]), made, weight))
    if not rows:
        return None
    hz, size, made, weight = (np.array(one) for one in zip(*rows, strict=True))
    if np.sqrt(np.mean(np.abs(made * weight)[:, 1:] ** 2)) < HARMONIC:
        return None
    return Shown(hz, size, made, weight, swept(pair, Cell()), linear, rate_hz)


def around(shown: Shown) -> Around:
    """Place the filters of a sweep around a curve.

    Filters that undo each other, and corners of the curve, are taken as far as tones speak for them.
    """
    placed = (shown.linear, *shown.linear.placements())
    best = min((_fitted(shown, one, cornered=False) for one in placed), key=lambda one: one.error)
    for _ in range(ROUNDS):
        tried = [_fitted(shown, one, cornered=best.cornered) for one in _with_pairs(best.linear)]
        tried += [] if best.cornered else [_fitted(shown, best.linear, cornered=True)]
        better = min(tried, key=lambda one: one.error)
        if best.error < AT_NOISE or better.error > BETTER * best.error:
            break
        best = better
    return best


def _with_pairs(linear: Linear) -> Iterator[Linear]:
    for one, gain_db in product(PAIRS, (6.0, -6.0)):
        pair = [replace(one, gain_db=gain) for gain in (gain_db, -gain_db)]
        yield replace(linear, ahead=(*linear.ahead, pair[0]), sections=(pair[1], *linear.sections))


def _fitted(shown: Shown, linear: Linear, *, cornered: bool) -> Around:
    """Fit all numbers of filters, gain and curve to tones and sweep."""
    bends = 2 * (len(ODD) + cornered * len(CORNERS))
    filters, split = [*linear.ahead, *linear.sections], len(linear.ahead)
    knobs, start = numbers_of(filters, shown.rate_hz)
    edges = [(-80.0, 80.0), (-20.0, 20.0), *(one.bounds for one in knobs), *[(-40.0, 20.0)] * bends]
    swept_hz, ratio = shown.swept or (np.zeros(0), np.zeros(0, dtype=complex))
    gain_db = float(20 * np.log10(np.median(np.abs(shown.made[:, 0]) / shown.size)))
    start = [gain_db, linear.late, *start, *[0.0] * bends]

    def parts(values: Array) -> tuple[tuple[Section, ...], tuple[Section, ...], Array]:
        left = iter(values[2:].tolist())
        made = with_numbers(filters, left)
        return made[:split], made[split:], np.array(list(left))

    def driven(values: Array, ahead: tuple[Section, ...]) -> Complex:
        return np.asarray(shown.size * 10 ** (values[0] / 20) * response(ahead, shown.hz))

    def left(values: Array) -> Complex:
        ahead, behind, row = parts(values)
        drive = driven(values, ahead)
        table = table_of(curve_of(Colour(), float(np.abs(drive).max()), row))
        sound = np.abs(drive)[:, None] * np.cos(TURN)
        made = (sound + np.interp(sound, table[:, 2], table[:, 0])) @ _COSINES.T
        turn = np.angle(drive) - 2 * np.pi * shown.hz * values[1] / shown.rate_hz
        made = made * np.exp(1j * np.outer(turn, ORDERS))
        return np.asarray(made * response(behind, np.outer(shown.hz, ORDERS)) - shown.made)

    def error(values: Array) -> Array:
        ahead, behind, row = parts(values)
        played = 10 ** (values[0] / 20) * np.exp(-2j * np.pi * swept_hz * values[1] / shown.rate_hz)
        played = played * response((*ahead, *behind), swept_hz)
        off = np.concatenate([(left(values) * shown.weight).ravel(), (played / ratio - 1) / SWEPT])
        return np.concatenate([off.real, off.imag, row])

    low, high = np.transpose(edges)
    solved = least_squares(error, np.clip(start, low, high), bounds=(low, high), x_scale="jac", max_nfev=40)
    ahead, behind, row = parts(solved.x)
    off = left(solved.x)
    return Around(
        replace(linear, ahead=ahead, sections=behind, late=float(solved.x[1])),
        curve_of(Colour(), float(np.abs(driven(solved.x, ahead)).max()), row),
        Cell(makeup_db=float(solved.x[0])),
        cornered,
        float(np.sqrt(np.mean(solved.fun**2))),
        float(np.linalg.norm(off * (shown.weight > 0)) / np.linalg.norm(shown.made)),
    )
