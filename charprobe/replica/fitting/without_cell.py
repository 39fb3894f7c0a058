"""What a chain without a gain cell, or the colour beside one, leaves of error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from charprobe.replica.fitting.cell_fit import Fitted
from charprobe.replica.fitting.colour_fit import STARTS, fit_colour, harmonics, off_by
from charprobe.replica.fitting.filter_fit import Linear
from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.least_squares import Effort, Knob, Solution
from charprobe.replica.fitting.sounds import Sounds
from charprobe.replica.fitting.structures import Structure
from charprobe.replica.fitting.whole_fit import Whole
from charprobe.replica.parts import Cell, Chain, Colour, Place

NONE = Colour()
MAKEUP = (Knob(("cell.makeup_db",), -79, 79, step=0.01),)
WORTH = 0.8  # of the error without: what a colour must bring
COLOUR = Effort(6, 0.005, spread=False)
SURELY = 10.0  # squares in standard errors that a curve which folds leaves less: a digital stage
PLAINER = 1.25  # times the error of the fuller model: then the plainer one is taken
WINDOW_S = 0.01  # over which a gain is read
HEARD = 1.3  # times what noise leaves of harmonics: less is no colour


def plain_gain(linear: Linear, sounds: Sounds, rate_hz: int) -> Whole:
    """The gain that meets the sound best."""
    heard = sounds.fit
    dry, weight = heard.seen(heard.dry[heard.used]), heard.weight
    ratio = float(np.sum(dry * heard.target * weight**2) / max(np.sum((dry * weight) ** 2), 1e-30))
    cell = Cell(makeup_db=float(np.clip(20 * np.log10(max(abs(ratio), 1e-4)), -79, 79)))
    untold = Solution(np.zeros(1), np.nan, np.full((1, 1), np.nan))
    error = score(Chain(cell=cell), sounds.held_out, rate_hz)
    return Whole(linear, NONE, Fitted(Structure(), cell, MAKEUP, untold, error, 0.0))


def at_once(chain: Chain, heard: Heard, rate_hz: int) -> bool:
    """Whether the error of a chain hardly lies in gains that move: no gain cell would leave so much less.

    Gains are read in windows; what is one for each level of a stretch is no movement.
    """
    off, size, moved = off_by(chain, heard, rate_hz), round(WINDOW_S * rate_hz), 0.0
    for part, frequency_hz in heard.parts:
        count = (part.stop - part.start) // size if frequency_hz else 0  # in a sweep gains tell filters
        error, sound, weight = (
            one[part][: count * size].reshape(count, size) for one in (off, heard.target, heard.weight)
        )
        power = np.sum(sound**2, axis=1) + 1e-30
        gain = np.sum(error * sound, axis=1) / power
        _, level = np.unique(np.round(10 * np.log10(power)), return_inverse=True)
        gain -= (np.bincount(level, gain) / np.bincount(level))[level]
        moved += float(np.sum(gain**2 * np.sum((sound * weight) ** 2, axis=1)))
    return moved < (1 - 1 / PLAINER**2) * float(np.sum((off * heard.weight) ** 2))


def score(chain: Chain, heard: Heard, rate_hz: int) -> float:
    """Root-mean-square weighted error of a chain."""
    return float(np.sqrt(np.mean((off_by(chain, heard, rate_hz) * heard.weight) ** 2)))


def _harmonicscore(chain: Chain, heard: Heard, rate_hz: int) -> float:
    left = harmonics(heard, off_by(chain, heard, rate_hz), rate_hz)
    return float(np.sqrt(np.mean((left * heard.weight) ** 2)))


def coloured(among: Chain, places: Sequence[Place], sounds: Sounds, rate_hz: int) -> Colour:
    """The colour in a chain that tones held out speak for, none where it brings too little."""
    heard, judge = sounds.colour, sounds.colour_held_out
    if heard is None or judge is None:
        return NONE
    best, least = NONE, _harmonicscore(among, judge, rate_hz)
    for start in STARTS:
        if least < HEARD * max(judge.noise_score, 1.0):
            break
        tried = [
            fit_colour(among, place, heard, rate_hz=rate_hz, effort=COLOUR, start=start)
            for place in ((best.place,) if best.amplitude else places)
        ]
        scores = [_harmonicscore(replace(among, colour=one), judge, rate_hz) for one in tried]
        if min(scores) < WORTH * least:
            least, best = min(scores), tried[int(np.argmin(scores))]
    return folding(Chain(cell=among.cell, colour=best), sounds.fit, rate_hz)


def folding(chain: Chain, heard: Heard, rate_hz: int) -> Colour:
    """The colour of a chain, one that folds harmonics back where what is heard speaks for that."""
    colours = [replace(chain.colour, oversampled=free) for free in (True, False)]
    if chain.colour.amplitude:
        free, folds = (score(replace(chain, colour=one), heard, rate_hz) ** 2 for one in colours)
        return colours[(free - folds) * heard.weight.size > SURELY * max(free, 1.0)]
    return chain.colour
