"""A gate with two thresholds: where it opens and, lower, where it shuts again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from charprobe.simulation.devices.parts.ballistics import follow
from charprobe.simulation.devices.parts.detectors import sense, to_dbfs
from charprobe.simulation.devices.stage import REFERENCE_HZ, StageOutput, TrueValue, amplitude
from charprobe.values.arrays import Array


@dataclass(frozen=True)
class LatchedGate:
    """Open or shut, with memory in between: its settled gain depends on where the level comes from.

    Attributes
    ----------
    opens_dbfs, shuts_dbfs : float
        Levels of a sine at which it opens and shuts; shuts_dbfs is the lower one.
    range_db : float > 0
        Attenuation while shut.
    attack_s, release_s : float >= 0
        Time constants of the gain in dB, opening and closing.
    """

    name: str
    summary: str
    opens_dbfs: float
    shuts_dbfs: float
    range_db: float
    attack_s: float
    release_s: float

    def __post_init__(self) -> None:
        if self.shuts_dbfs >= self.opens_dbfs or self.range_db <= 0:
            raise ValueError("shuts_dbfs must lie below opens_dbfs, and range_db above 0")

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through the stage, starting shut; see `Stage`."""
        level_dbfs = to_dbfs(sense(samples, "envelope", rate_hz=rate_hz), "envelope")
        decided = np.flatnonzero((level_dbfs > self.opens_dbfs) | (level_dbfs < self.shuts_dbfs))
        latest = np.searchsorted(decided, np.arange(samples.size), side="right") - 1
        is_open = np.zeros(samples.size, dtype=bool)
        known = latest >= 0
        is_open[known] = level_dbfs[decided[latest[known]]] > self.opens_dbfs
        gain_db = follow(
            np.where(is_open, 0.0, -self.range_db),
            attack_s=self.attack_s,
            release_s=self.release_s,
            form="smooth branching",
            rate_hz=rate_hz,
            rest=-self.range_db,
        )
        return StageOutput(samples * amplitude(gain_db), gain_db)

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """Settled gain of a level reached from *below*; see `Stage`."""
        return np.where(np.asarray(level_dbfs, dtype=float) > self.opens_dbfs, 0.0, -self.range_db)

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """Between its thresholds rising and falling passes differ by the whole range; see `Stage`."""
        return {
            "static.hysteresis": TrueValue(self.range_db, "dB"),
            "path.latency": TrueValue(0.0, "s"),
        }
