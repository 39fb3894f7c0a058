"""Stages in series, and the plain wire."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from charprobe.simulation.devices.stage import REFERENCE_HZ, Stage, StageOutput, TrueValue, gain_truth
from charprobe.values.arrays import Array


@dataclass(frozen=True)
class Wire:
    """A plain wire: out is in, exactly."""

    name: str
    summary: str

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Return the samples; gain 0 dB."""
        return StageOutput(samples.copy(), np.zeros(samples.size))

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """0 dB at every level."""
        return np.zeros(np.shape(level_dbfs))

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """Nothing is changed."""
        return gain_truth(0.0) | {"static.max_reduction": TrueValue(0.0, "dB")}


@dataclass(frozen=True)
class Chain:
    """Stages in series; the gain trace is the sum of theirs, each beside the samples that leave it.

    `known` says under the published names what holds for the whole chain: a part's truth need not survive
    what stands before and behind it, so nothing is carried over by itself.
    """

    name: str
    summary: str
    parts: tuple[Stage, ...]
    known: Mapping[str, TrueValue]

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through all parts in order; see `Stage`.

        Parts that delay the sound are not compensated for in the traces of the parts before them.
        """
        gain_db = np.zeros(samples.size)
        for part in self.parts:
            out = part.process(samples, rate_hz=rate_hz, rng=rng)
            samples = out.samples
            gain_db += out.gain_db
        return StageOutput(samples, gain_db)

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """Settled gain of the fundamental: each part at the level that reaches it (harmonics left aside)."""
        level_dbfs = np.asarray(level_dbfs, dtype=float)
        total = np.zeros(level_dbfs.shape)
        for part in self.parts:
            total = total + part.static_gain_db(level_dbfs + total, frequency_hz=frequency_hz)
        return total

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """What holds for the whole; see `Stage`."""
        return self.known
