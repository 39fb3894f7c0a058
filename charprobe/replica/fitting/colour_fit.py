"""The colour of a stage: a curve fitted to the harmonics of steady tones, with the gain cell known."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.least_squares import Effort, Knob, solve
from charprobe.replica.fitting.player import Player
from charprobe.replica.parts import Cell, Chain, Colour, Place
from charprobe.values.arrays import Array

SMOOTH = np.arange(1, 13) / 12  # sizes of a curve, 1 at the highest peak of the tones
CORNERED = np.union1d(SMOOTH, np.geomspace(2.0**-13, 2.0**-4, 19))  # of one that changes close to rest
ODD, EVEN = (2, 4, 8), (1, 3, 7)  # powers of the size that the slope in dB is made of
CORNERS = (4, 16, 64, 256, 1024, 4096)  # parts of the peak around rest, from where on a slope has changed


def fit_colour(
    among: Chain, place: Place, heard: Heard, *, rate_hz: float, effort: Effort, cornered: bool
) -> Colour:
    """Fit odd and even parts of the curve up to the highest peak of the tones, the rest being as it is.

    `cornered` gives it slopes that change close to rest: kinks at zero, crossover.
    """
    player = Player(heard, rate_hz)
    met = Chain(among.filter_in, Cell() if place == "before" else among.cell)
    peak = float(np.max(np.abs(np.concatenate(player.leaving(met))[heard.used]))) + 1e-9
    knobs = (Knob(("colour",), -40.0, 20.0, step=1e-3),) * (2 * (len(ODD) + cornered * len(CORNERS)))
    pull = np.ones(len(knobs))  # towards a straight curve where no harmonic tells otherwise

    def predict(rows: Array) -> Iterator[Array]:
        made = player.play([replace(among, colour=curve_of(Colour(place), peak, row)) for row in rows])
        return (np.append(harmonics(heard, one, rate_hz), row) for one, row in zip(made, rows, strict=True))

    solution = solve(
        predict,
        np.append(harmonics(heard, heard.target, rate_hz), 0 * pull),
        np.append(heard.weight, pull),
        np.append(heard.block, heard.block[-1] + 1 + np.arange(pull.size)),
        knobs,
        np.zeros(len(knobs)),
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
    """A colour like another, its odd and even slopes in dB sums, half a row each, of `_parts` of the size."""
    shares = SMOOTH if row.size == 2 * len(ODD) else CORNERED
    odd, even = (
        tuple((half @ _parts(shares, powers)).tolist())
        for half, powers in zip(row.reshape(2, -1), (ODD, EVEN), strict=True)
    )
    return replace(like, amplitude=tuple((peak * shares).tolist()), odd_db=odd, even_db=even)


def row_of(colour: Colour, peak: float) -> Array:
    """What `curve_of` makes a curve of this kind from, with 1 at another peak."""
    shares = np.array(colour.amplitude) / peak
    halves = ((_parts(shares, ODD), colour.odd_db), (_parts(shares, EVEN), colour.even_db))
    return np.concatenate([np.linalg.lstsq(parts.T, slopes, rcond=None)[0] for parts, slopes in halves])


def _parts(shares: Array, powers: tuple[int, ...]) -> Array:
    """Powers of the size, with more sizes than smooth curves have also what changes behind corners."""
    smooth = shares ** np.array(powers)[:, None]
    corners = 1 - np.exp(-np.outer(CORNERS, shares))
    return smooth if shares.size == SMOOTH.size else np.vstack([smooth, corners])


def off_by(chain: Chain, heard: Heard, rate_hz: float) -> Array:
    """The error of a chain where sound counts, as it is seen."""
    [made] = Player(heard, rate_hz).play([chain])
    return heard.target - made
