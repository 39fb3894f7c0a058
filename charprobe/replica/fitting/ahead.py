"""Look-ahead of a fitted cell: whole samples, to which no slope leads."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from charprobe.replica.fitting.cell_fit import Fitted
from charprobe.replica.fitting.least_squares import Effort
from charprobe.replica.fitting.player import LONGEST_S, in_samples
from charprobe.replica.parts import Cell

STEPS = (16, 8, 4, 2, 1)  # samples
FOLLOW = Effort(3, 0.01, spread=False, starts=False)  # attack and threshold move with it
LESS = 0.999  # of the error: what a step must bring


def ahead_of(chosen: Fitted, fit: Callable[[Cell], Fitted], *, rate_hz: float) -> Fitted:
    """The structure at the look-ahead that meets best what a fit hears.

    The profile times it by where a gain begins to move: to a few samples, which a quick attack turns into an
    attack of another length.

    Parameters
    ----------
    chosen : Fitted
        Feed-forward, at the look-ahead that the profile tells.
    fit : callable
        Fits its structure from a cell, with `FOLLOW`.
    rate_hz : float
        Sampling rate.
    """
    best = fit(in_samples(chosen.cell, rate_hz=rate_hz))
    for step in STEPS:
        for way in (step, -step):
            while 0 <= (ahead_s := best.cell.lookahead_s + way / rate_hz) <= LONGEST_S:
                tried = fit(replace(best.cell, lookahead_s=ahead_s))
                if tried.solution.score >= LESS * best.solution.score:
                    break
                best = tried
    return best
