"""A stage that adds noise of known density, for measurements of noise."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from charprobe.simulation.devices.stage import REFERENCE_HZ, StageOutput, TrueValue, gain_truth
from charprobe.values.arrays import Array

BAND_HZ = 20_000.0 - 20.0
A_OF_WHITE_DB = -2.05  # A-weighting of white noise from 20 Hz to 20 kHz


@dataclass(frozen=True)
class Hiss:
    """A wire with gain that adds white noise behind it.

    `unweighted_dbfs` is its level from 20 Hz to 20 kHz, whatever the sampling rate (a full-scale sine is 0
    dBFS).
    """

    name: str
    summary: str
    unweighted_dbfs: float
    makeup_db: float = 0.0

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through the stage; see `Stage`."""
        rms = 10 ** (self.unweighted_dbfs / 20) / math.sqrt(2) * math.sqrt(rate_hz / 2 / BAND_HZ)
        out = samples * 10 ** (self.makeup_db / 20) + rng.normal(0, rms, samples.size)
        return StageOutput(out, np.full(samples.size, self.makeup_db))

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """Gain of the wire at every level; see `Stage`."""
        return np.full(np.shape(level_dbfs), self.makeup_db)

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """Noise and gain; see `Stage`."""
        return {
            "noise.unweighted": TrueValue(self.unweighted_dbfs, "dBFS"),
            "noise.a_weighted": TrueValue(self.unweighted_dbfs + A_OF_WHITE_DB, "dBFS", 0.01),
            **gain_truth(self.makeup_db),
        }
