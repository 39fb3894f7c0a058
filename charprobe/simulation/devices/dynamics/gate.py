"""A gate or downward expander: opens fast, holds, closes slowly."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from charprobe.simulation.devices.dynamics.compressor_truth import static_truth
from charprobe.simulation.devices.parts.ballistics import follow
from charprobe.simulation.devices.parts.detectors import sense, to_dbfs
from charprobe.simulation.devices.parts.gain_computer import Bend
from charprobe.simulation.devices.stage import REFERENCE_HZ, StageOutput, TrueValue, amplitude
from charprobe.values.arrays import Array


@dataclass(frozen=True)
class Gate:
    """Downward expansion around an envelope detector.

    The bend is on the low side of its threshold, its slope positive, its `most_db` the range. Times are those
    of opening and closing, of the gain in dB, and the dead time before closing; all >= 0.
    """

    name: str
    summary: str
    bend: Bend
    attack_s: float
    release_s: float
    hold_s: float = 0.0

    def __post_init__(self) -> None:
        if self.bend.side != "below" or self.bend.slope <= 0:
            raise ValueError("a gate needs a bend below its threshold with a positive slope")

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through the stage, starting closed; see `Stage`."""
        wanted_db = -self.bend.reduction_db(to_dbfs(sense(samples, "envelope", rate_hz=rate_hz), "envelope"))
        gain_db = follow(
            wanted_db,
            attack_s=self.attack_s,
            release_s=self.release_s,
            hold_s=self.hold_s,
            form="smooth branching",
            rate_hz=rate_hz,
            rest=-float(self.bend.reduction_db(np.array(-1000.0))),
        )
        return StageOutput(samples * amplitude(gain_db), gain_db)

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """Settled gain: the bend's own curve; see `Stage`."""
        return -self.bend.reduction_db(np.asarray(level_dbfs, dtype=float))

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """The bend and the lack of any other gain; see `Stage`."""
        curve = static_truth((self.bend,), makeup_db=0.0, threshold_shift_db=0.0, exact_knee=True)
        return {**curve, "path.latency": TrueValue(0.0, "s")}
