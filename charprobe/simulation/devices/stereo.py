"""Two channels whose gains are linked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.stage import REFERENCE_HZ, StageOutput, TrueValue, amplitude
from charprobe.values.arrays import Array


@dataclass(frozen=True)
class LinkedPair:
    """Two equal compressors of which each takes on a share of the other's greater reduction.

    Channel i is reduced by ``(1 - link) r_i + link max(r_1, r_2)``, r being what its own side chain asks for:
    driving one side alone moves the other's gain by `link` times as many dB, 0 (two mono units) to 1 (a
    common gain). Each input leaks into the other channel at `crosstalk_db`, ahead of the units.
    """

    name: str
    summary: str
    unit: Compressor
    link: float
    crosstalk_db: float | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.link <= 1:
            raise ValueError(f"link must lie between 0 and 1, found {self.link}")

    def process_pair(self, samples: Array, *, rate_hz: float) -> tuple[Array, Array]:
        """Send two channels through; shape (n, 2), full scale = 1.

        Returns the processed sound, and the gain of each channel at each output sample, make-up included.
        """
        if self.crosstalk_db is not None:
            samples = samples + 10 ** (self.crosstalk_db / 20) * samples[:, ::-1]
        own = np.stack([self.unit.reduction_db(channel, rate_hz=rate_hz) for channel in samples.T], axis=1)
        reduction = (1 - self.link) * own + self.link * own.max(axis=1, keepdims=True)
        gain_db = self.unit.makeup_db - reduction
        delay = round(self.unit.lookahead_s * rate_hz)
        delayed = np.concatenate([np.zeros((delay, 2)), samples])[: samples.shape[0]]
        return delayed * amplitude(gain_db), gain_db

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Drive both sides alike; see `Stage`."""
        return self.unit.process(samples, rate_hz=rate_hz, rng=rng)

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """Settled gain with both sides driven alike; see `Stage`."""
        return self.unit.static_gain_db(level_dbfs, frequency_hz=frequency_hz)

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """The unit's, and the link as dB of gain change on the quiet side per dB on the driven one."""
        return {**self.unit.truth, "detector.link": TrueValue(self.link, "dB/dB")}
