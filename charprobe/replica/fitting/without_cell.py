"""What a chain without a gain cell, or the colour beside one, leaves of error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from charprobe.replica.fitting.colour_fit import fit_colour, harmonics, through
from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.least_squares import Effort, Knob, solve
from charprobe.replica.fitting.sounds import Sounds
from charprobe.replica.parts import Cell, Colour, Place
from charprobe.values.arrays import Array

NONE = Colour()
WORTH = 0.8  # of the error without: what a colour must bring
COLOUR = Effort(6, 0.005, spread=False)
SURELY = 10.0  # squares in standard errors that a curve which folds leaves less: a digital stage
HEARD = 1.3  # times what noise leaves of harmonics: less is no colour


def makeup_only(heard: Heard) -> Cell:
    """The gain that meets the sound best."""
    dry, weight = heard.seen(heard.dry[heard.used]), heard.weight
    ratio = float(np.sum(dry * heard.target * weight**2) / max(np.sum((dry * weight) ** 2), 1e-30))
    return Cell(makeup_db=float(np.clip(20 * np.log10(max(abs(ratio), 1e-4)), -79, 79)))


def makeup_ahead(cell: Cell, colour: Colour, heard: Heard, rate_hz: int) -> Cell:
    """The cell with the make-up that meets the sound best ahead of a colour."""

    def predict(rows: Array) -> Array:
        return np.stack([through(Cell(makeup_db=row[0]), colour, heard, rate_hz) for row in rows])

    knob = Knob(("cell.makeup_db",), -79, 79, step=0.01)
    start = np.array([cell.makeup_db])
    found = solve(predict, heard.target, heard.weight, heard.block, (knob,), start, effort=COLOUR)
    return Cell(makeup_db=float(found.values[0]))


def score(cell: Cell, colour: Colour, heard: Heard, rate_hz: int) -> float:
    """Root-mean-square weighted error of a cell with a colour."""
    made = through(cell, colour, heard, rate_hz)
    return float(np.sqrt(np.mean(((heard.target - made) * heard.weight) ** 2)))


def _harmonicscore(cell: Cell, colour: Colour, heard: Heard, rate_hz: int) -> float:
    made = through(cell, colour, heard, rate_hz)
    left = harmonics(heard, heard.target - made, rate_hz)
    return float(np.sqrt(np.mean((left * heard.weight) ** 2)))


def coloured(cell: Cell, places: Sequence[Place], sounds: Sounds, rate_hz: int) -> Colour:
    """The colour that tones held out speak for, none where it brings too little."""
    heard, judge = sounds.colour, sounds.colour_held_out
    if heard is None or judge is None:
        return NONE
    best, least = NONE, _harmonicscore(cell, NONE, judge, rate_hz)
    for cornered in (False, True):
        if least < HEARD * max(judge.noise_score, 1.0):
            break
        tried = [
            fit_colour(cell, place, heard, rate_hz=rate_hz, effort=COLOUR, cornered=cornered)
            for place in ((best.place,) if best.amplitude else places)
        ]
        scores = [_harmonicscore(cell, one, judge, rate_hz) for one in tried]
        if min(scores) < WORTH * least:
            least, best = min(scores), tried[int(np.argmin(scores))]
    if best.amplitude:
        both = [replace(best, oversampled=free) for free in (True, False)]
        free, folding = (score(cell, one, sounds.fit, rate_hz) ** 2 for one in both)
        if (free - folding) * sounds.fit.weight.size > SURELY * max(free, 1.0):
            return both[1]
    return best
