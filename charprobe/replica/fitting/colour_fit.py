"""The colour of a stage: a curve fitted to the harmonics of steady tones, with the gain cell known."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from scipy.integrate import cumulative_trapezoid
from scipy.optimize import least_squares

from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.least_squares import Effort, Knob, solve
from charprobe.replica.fitting.player import Player
from charprobe.replica.parts import Cell, Chain, Colour, Place
from charprobe.values.arrays import Array

SMOOTH = np.arange(1, 13) / 12  # sizes of a curve, 1 at the highest peak of the tones
CORNERED = np.union1d(SMOOTH, np.geomspace(2.0**-13, 2.0**-4, 19))  # of one that changes close to rest
FINE = np.union1d(np.arange(1, 513) / 512, np.geomspace(2.0**-14, 2.0**-8, 48))  # of one that is integrated
PLACES = np.concatenate([-FINE[::-1], [0.0], FINE])
ODD, EVEN = (2, 4, 8), (1, 3, 7)  # powers of the size that the slope in dB is made of
CORNERS = (4, 16, 64, 256, 1024, 4096)  # parts of the peak around rest, from where on a slope has changed
CEILINGS_DB = (-2.0, -6.0, -12.0)  # re the peak: where a fit looks for ceilings, one above and one below
STARTS = (  # rows: six numbers of a smooth curve, those of corners, or where ceilings are and how abrupt
    np.zeros(6), np.zeros(6 + 2 * len(CORNERS)),
    *(np.array([*[0.0] * 6, at_db, 0.0, at_db, 0.0]) for at_db in CEILINGS_DB),
)  # fmt: skip
ABRUPT, FLAT_DB = 12.0, -76.0  # power by which a curve bends to a ceiling at 0 dB; slope of what lies on one
AROUND = np.linspace(-6.0, 9.0, 16)  # logarithms, times that power, of sizes around a ceiling
SMALLEST, HALVED_DB = 1e-3, -6.5  # share of the peak that only corners lie below; slope at a ceiling
LN_DB = np.log(10) / 20


def fit_colour(
    among: Chain, place: Place, heard: Heard, *, rate_hz: float, effort: Effort, start: Array
) -> Colour:
    """Fit odd and even parts of the curve up to the highest peak of the tones, the rest being as it is.

    One of `STARTS` says what it may have: slopes that change close to rest (kinks, crossover), or ceilings.
    """
    player = Player(heard, rate_hz)
    met = Chain(among.filter_in, Cell() if place == "before" else among.cell)
    peak = float(np.max(np.abs(np.concatenate(player.leaving(met))[heard.used]))) + 1e-9
    knobs = (Knob(("colour",), -40.0, 20.0, step=1e-3),) * start.size
    pull = np.ones(start.size)  # towards the start where no harmonic tells otherwise

    def predict(rows: Array) -> Iterator[Array]:
        made = player.play([replace(among, colour=curve_of(Colour(place), peak, row)) for row in rows])
        return (np.append(harmonics(heard, one, rate_hz), row) for one, row in zip(made, rows, strict=True))

    solution = solve(
        predict,
        np.append(harmonics(heard, heard.target, rate_hz), start),
        np.append(heard.weight, pull),
        np.append(heard.block, heard.block[-1] + 1 + np.arange(pull.size)),
        knobs,
        start,
        effort=effort,
    )
    return curve_of(Colour(place), peak, solution.values)


def harmonics(heard: Heard, sound: Array, rate_hz: float) -> Array:
    """What is left of the tones of `heard` once fundamental, offset and their slow change are taken out.

    So colour is told from its harmonics alone and never makes up for a gain that is not quite met, nor for
    how a filter lets an offset go that comes with even ones.
    """
    left = np.empty_like(sound)
    for part, frequency_hz in heard.parts:
        n = np.arange(part.stop - part.start)
        turn = np.exp(2j * np.pi * ((frequency_hz / rate_hz * n) % 1.0))
        past = n / n.size
        swells = [one := np.ones(n.size), past - 0.5, np.exp(-10 * past), np.exp(-40 * past)]
        basis = np.stack([swell * wave for swell in swells for wave in (turn.real, turn.imag, one)])
        piece = sound[part]
        left[part] = piece - np.linalg.solve(basis @ basis.T, basis @ piece) @ basis
    return left


def curve_of(like: Colour, peak: float, row: Array) -> Colour:
    """A colour like another, its odd and even slopes in dB as a row of `STARTS` tells them."""
    shares = CORNERED if row.size == STARTS[1].size else SMOOTH
    for at_db, abrupt_db in _ceilings(row):
        near = np.exp(LN_DB * at_db + AROUND / (ABRUPT * np.exp(LN_DB * abrupt_db)))
        shares = np.union1d(shares, np.round(near[(near > SMALLEST) & (near < 1)], 6))
    odd, even = (tuple(one.tolist()) for one in _slopes(shares, row))
    return replace(like, amplitude=tuple((peak * shares).tolist()), odd_db=odd, even_db=even)


def added_by(row: Array) -> Array:
    """What the curve of a row adds to its input at `PLACES`, both re the peak."""
    odd, even = _slopes(FINE, row)
    slopes_db = np.concatenate([(odd - even)[::-1], [0.0], odd + even])
    added = cumulative_trapezoid(np.expm1(LN_DB * np.minimum(slopes_db, 40.0)), PLACES, initial=0)
    return np.asarray(added - added[FINE.size])


def row_of(colour: Colour, peak: float) -> Array:
    """What `curve_of` makes a curve of this kind from, with 1 at another peak."""
    shares, slopes = np.array(colour.amplitude) / peak, np.array([colour.odd_db, colour.even_db])
    start = STARTS[int(shares[0] < SMALLEST * shares[-1])]
    if start.size == 6 and shares.size > SMOOTH.size:
        halved = [np.argmin(np.abs(slopes[0] + side * slopes[1] - HALVED_DB)) for side in (1, -1)]
        start = np.array([*start, *(x for at in halved for x in (np.log(shares[at]) / LN_DB, 0.0))])

    def off(row: Array) -> Array:
        return np.ravel(_slopes(shares, row) - slopes)

    return np.asarray(least_squares(off, start, xtol=1e-12).x)


def _ceilings(row: Array) -> Array:
    return row[6:].reshape(-1, 2) if row.size == STARTS[2].size else row[:0].reshape(0, 2)


def _slopes(shares: Array, row: Array) -> Array:
    """Odd and even slopes in dB: sums of powers of the size, of what changes behind corners, and ceilings."""
    halves = zip(row[:6].reshape(2, -1), (ODD, EVEN), strict=True)
    slopes = np.stack([half @ shares ** np.array(powers)[:, None] for half, powers in halves])
    if row.size == STARTS[1].size:
        slopes += row[6:].reshape(2, -1) @ (1 - np.exp(-np.outer(CORNERS, shares)))
    for side, (at_db, abrupt_db) in zip((1, -1), _ceilings(row), strict=False):
        power = ABRUPT * np.exp(LN_DB * abrupt_db)  # of x / (1 + x ** power) ** (1 / power)
        past = np.logaddexp(0.0, power * (np.log(shares) - LN_DB * at_db))
        slopes += np.outer((1, side), np.maximum(-(1 + 1 / power) / LN_DB * past, FLAT_DB) / 2)
    return slopes


def off_by(chain: Chain, heard: Heard, rate_hz: float) -> Array:
    """The error of a chain where sound counts, as it is seen."""
    [made] = Player(heard, rate_hz).play([chain])
    return heard.target - made
