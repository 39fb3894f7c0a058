"""Compressors whose times are none: a gain element that follows bent, a release that slows; drawn, with code of their own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from charprobe.replica.fitting.structures import Structure
from charprobe.simulation.devices.parts.gain_computer import Bend
from charprobe.simulation.devices.stage import StageOutput
from charprobe.values.arrays import Array
from tests.simulation.drawn import draw_compressor, log_uniform


@njit(cache=True)
def _followed(square: Array, law: Array, times: Array, element: int, trap: Array) -> Array:
    """Reduction in dB by law (threshold, slope, knee), times (attack, release, average) and trap (fills, empties, times, dB).

    Times in samples; element 0 follows in dB, another as that power of what is divided by.
    """
    out = np.empty_like(square)
    mean, at, kept = 0.0, 0.0, 0.0
    unit = 20 / np.log(10) / element if element else 1.0
    for n in range(square.size):
        mean += (square[n] - mean) * (1 - np.exp(-1 / times[2]) if times[2] > 0 else 1.0)
        over = 10 * np.log10(mean + 1e-14) - law[0]
        wanted = 0.0
        if over > law[2] / 2:
            wanted = law[1] * over
        elif over > -law[2] / 2:
            wanted = law[1] * (over + law[2] / 2) ** 2 / (2 * law[2])
        goal = unit * (10 ** (element * wanted / 20) - 1) if element else wanted
        pace = times[0] if goal > at else times[1] * (1 + trap[2] * kept / (at + trap[3]))
        at = goal + (at - goal) * np.exp(-1 / pace)
        kept = at + (kept - at) * np.exp(-1 / (trap[0] if at > kept else trap[1]))
        out[n] = 20 / element * np.log10(1 + at / unit) if element else at
    return out


@dataclass(frozen=True)
class BentCompressor:
    """A mean square or a rectifier, a curve, and an element: 0 in dB, 1 a conductance, 2 its square, -1 the gain."""

    bends: tuple[Bend, ...]
    attack_s: float
    release_s: float
    averaging_s: float
    element: int
    trap: tuple[float, float, float, float]
    makeup_db: float

    @property
    def structure(self) -> Structure:
        """The true structure."""
        return Structure(
            "mean square" if self.averaging_s else "rectified",
            averaged=self.averaging_s > 0,
            release="slowed" if self.trap[2] else "one",
            bent=self.element != 0,
        )

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through, from rest."""
        bend, trap = self.bends[0], np.array(self.trap)
        trap[:2] *= rate_hz
        reduction = _followed(
            (2 if self.averaging_s else 1) * samples**2,
            np.array([bend.threshold_dbfs, bend.slope, bend.knee_db + 1e-9]),
            np.array([self.attack_s, self.release_s, self.averaging_s]) * rate_hz,
            self.element,
            trap,
        )
        gain = 10 ** ((self.makeup_db - reduction) / 20)
        return StageOutput(samples * gain, 20 * np.log10(gain))


def draw_bent(rng: np.random.Generator, *, name: str) -> BentCompressor:
    """Draw one; numbers as in `draw_compressor`, a slope of 0.9 at most; half of the elements, and all in dB, slow their release."""
    like = draw_compressor(rng, name=name)
    element = int(rng.choice([-1, 0, 1, 2]))
    slowed = element == 0 or rng.random() < 0.5
    trap = (
        log_uniform(rng, 0.2, 2),
        log_uniform(rng, 0.5, 5),
        log_uniform(rng, 1, 15),
        log_uniform(rng, 0.3, 10),
    )
    bend = like.bends[0]
    return BentCompressor(
        (Bend(bend.threshold_dbfs, min(bend.slope, 0.9), bend.knee_db),),
        max(like.attack_s, 1e-3),
        min(like.release_s, 0.4),
        log_uniform(rng, 0.002, 0.01) if rng.random() < 0.6 else 0.0,
        element,
        trap if slowed else (1.0, 1.0, 0.0, 1.0),
        like.makeup_db,
    )
