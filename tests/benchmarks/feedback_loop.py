"""A compressor whose detector hears its output sample by sample, the loop closed without delay."""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np

from charprobe.simulation.devices.stage import StageOutput
from charprobe.values.arrays import Array


@dataclass(frozen=True)
class FeedbackLoop:
    """Rectifier, or mean square of a time of its own, of the output; reduction smoothed, branching.

    Attributes
    ----------
    threshold_dbfs, knee_db : float
        On the output axis ahead of make-up; a sine of that level, where nothing ripples.
    ratio : float > 1
        Settled, beyond the knee: the loop gain is `ratio - 1`.
    attack_s, release_s : float > 0
        Of the open loop.
    averaging_s : float >= 0
        Of the mean square; 0: the bare rectifier.
    makeup_db : float
        Behind the loop.
    """

    name: str
    threshold_dbfs: float
    ratio: float
    attack_s: float
    release_s: float
    knee_db: float
    averaging_s: float
    makeup_db: float

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through, from rest."""
        kept = [
            np.exp(-1 / (t * rate_hz)) if t > 0 else 0.0
            for t in (self.attack_s, self.release_s, self.averaging_s)
        ]
        reduction = _loop(
            samples,
            self.threshold_dbfs,
            self.knee_db,
            self.ratio - 1,
            *kept,
            2.0 if self.averaging_s else 1.0,
        )
        gain_db = self.makeup_db - reduction
        return StageOutput(samples * 10 ** (gain_db / 20), gain_db)


@numba.njit(cache=False)
def _loop(
    x: Array,
    threshold: float,
    knee: float,
    k: float,
    attack: float,
    release: float,
    average: float,
    scale: float,
) -> Array:
    out = np.empty_like(x)
    power = reduction = 0.0
    for n in range(x.size):
        low, high = 0.0, max(200.0, reduction)
        square = scale * x[n] * x[n]
        for _ in range(56):  # what the loop asks for falls as the reduction rises: one root
            guess = 0.5 * (low + high)
            heard = average * power + (1 - average) * square * 10 ** (-guess / 10)
            over = 10 * np.log10(max(heard, 1e-12)) - threshold
            if over <= -knee / 2:
                over = 0.0
            elif over < knee / 2:
                over = (over + knee / 2) ** 2 / (2 * knee)
            goal = k * over
            hold = attack if goal > reduction else release
            if hold * reduction + (1 - hold) * goal > guess:
                low = guess
            else:
                high = guess
        reduction = 0.5 * (low + high)
        power = average * power + (1 - average) * square * 10 ** (-reduction / 10)
        out[n] = reduction
    return out
