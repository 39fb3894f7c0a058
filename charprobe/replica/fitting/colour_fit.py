"""The colour of a stage: a curve fitted to the harmonics of steady tones, with the gain cell known."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from charprobe.replica.cell import RunningCell, gain_db
from charprobe.replica.colour import shaped, table_of
from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.least_squares import Effort, Knob, Solution, solve
from charprobe.replica.parts import Cell, Colour, Place
from charprobe.values.arrays import Array

SIZES = 12  # of the curve, evenly spaced up to the highest peak of the tones
ODD, EVEN = (2, 4, 8), (1, 3, 7)  # powers of the size that the slope in dB is made of
LN_DB = 20 / np.log(10)


@dataclass(frozen=True)
class Coloured:
    """A colour, and the root-mean-square weighted error with it."""

    colour: Colour
    solution: Solution


def fit_colour(cell: Cell, place: Place, heard: Heard, *, rate_hz: float, effort: Effort) -> Coloured:
    """Fit odd and even parts of the curve up to the highest peak of the tones, the cell being as it is."""
    met = heard.dry[heard.used] if place == "before" else through(cell, Colour(), heard, rate_hz)
    peak = float(np.max(np.abs(met))) + 1e-9
    knobs = tuple(Knob((f"colour.{power}",), -40.0, 20.0, step=1e-3) for power in (*ODD, *EVEN))
    pull = np.ones(len(knobs))  # towards a straight curve where no harmonic tells otherwise

    def predict(rows: Array) -> Array:
        made = [through(cell, curve_of(place, peak, row), heard, rate_hz) for row in rows]
        return np.stack(
            [np.append(harmonics(heard, one, rate_hz), row) for one, row in zip(made, rows, strict=True)]
        )

    solution = solve(
        predict,
        np.append(harmonics(heard, heard.target, rate_hz), 0 * pull),
        np.append(heard.weight, pull),
        np.append(heard.block, heard.block[-1] + 1 + np.arange(pull.size)),
        knobs,
        np.zeros(len(knobs)),
        effort=effort,
    )
    return Coloured(curve_of(place, peak, solution.values), solution)


def harmonics(heard: Heard, sound: Array, rate_hz: float) -> Array:
    """What is left of the tones of `heard` once each one's fundamental and its slow change are taken out.

    So colour is told from its harmonics alone and never makes up for a gain that is not quite met.
    """
    left = np.empty_like(sound)
    for part, frequency_hz in heard.parts:
        n = np.arange(part.stop - part.start)
        turn = np.exp(2j * np.pi * ((frequency_hz / rate_hz * n) % 1.0))
        swells = [np.ones(n.size), n / n.size - 0.5, np.exp(-10 * n / n.size), np.exp(-40 * n / n.size)]
        basis = np.stack([swell * wave for swell in swells for wave in (turn.real, turn.imag)])
        piece = sound[part]
        left[part] = piece - np.linalg.solve(basis @ basis.T, basis @ piece) @ basis
    return left


def curve_of(place: Place, peak: float, row: Array) -> Colour:
    """The curve whose slope in dB is a sum of powers of the size, 1 at the peak."""
    share = np.arange(1, SIZES + 1) / SIZES
    parts = [
        sum(value * share**power for value, power in zip(values, powers, strict=True))
        for values, powers in ((row[: len(ODD)], ODD), (row[len(ODD) :], EVEN))
    ]
    odd, even = (tuple(np.asarray(part).tolist()) for part in parts)
    return Colour(place, tuple((peak * share).tolist()), odd, even)


def powers_of(colour: Colour, peak: float) -> list[float]:
    """What `curve_of` makes a curve of this kind from, with 1 at another peak."""
    share = np.array(colour.amplitude)[:, None] / peak
    parts = ((share ** np.array(ODD), colour.odd_db), (share ** np.array(EVEN), colour.even_db))
    return [float(x) for powers, slopes in parts for x in np.linalg.lstsq(powers, slopes, rcond=None)[0]]


def gain_of(cell: Cell, samples: Array, rate_hz: float) -> Array:
    """Gain of a cell in dB at each sample."""
    if not cell.bends:
        return np.full(samples.size, cell.makeup_db)
    return gain_db(cell, samples, rate_hz=rate_hz)


def through(cell: Cell, colour: Colour, heard: Heard, rate_hz: float) -> Array:
    """Send what is heard through colour and cell in their order, without filters; as it is seen."""
    made = [_through(cell, colour, heard.dry[piece], rate_hz) for piece in heard.pieces]
    return heard.seen(np.concatenate(made)[heard.used])


def _through(cell: Cell, colour: Colour, samples: Array, rate_hz: float) -> Array:
    table = table_of(colour) if colour.amplitude else None
    if table is not None and colour.place == "in loop":
        running = RunningCell(replace(cell, makeup_db=0.0), rate_hz=rate_hz, channels=1, table=table)
        passed = running.play(samples[:, None]).sound[:, 0] * 10 ** (cell.makeup_db / 20)
        return shaped(passed, table, oversampled=colour.oversampled)
    if table is not None and colour.place == "before":
        samples = shaped(samples, table, oversampled=colour.oversampled)
    out = samples * np.exp(gain_of(cell, samples, rate_hz) / LN_DB)
    if table is not None and colour.place == "behind":
        out = shaped(out, table, oversampled=colour.oversampled)
    return np.asarray(out)
