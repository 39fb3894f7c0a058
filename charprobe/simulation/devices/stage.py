"""What a simulated stage is: sound in, sound and its own gain trace out, and its true parameters."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from charprobe.values.arrays import Array

REFERENCE_DBFS = -10.0  # drive at which stages state their harmonics
PIECE = 1 << 14
REFERENCE_HZ = 997.0  # tone for which stages state their static curve


@dataclass(frozen=True)
class StageOutput:
    """What a stage did to one channel: the processed sound, full scale = 1, and its gain in dB; shapes (n,).

    The gain is what the stage's dynamics applied at each *output* sample, make-up included. Filters and
    shapers are not in it: their small-signal gain is 1 where their response is flat, and what they do is in
    `samples` only. Stages that delay the sound (look-ahead) give the gain beside the delayed sample.
    """

    samples: Array
    gain_db: Array


@dataclass(frozen=True)
class TrueValue:
    """A true parameter of a stage under a published quantity name: the closed form, and its unit.

    `within` is how far, in `unit`, the closed form itself may be from the device (detector ripple and delay,
    sampling), 0 where it is exact; `note` tells conditions under which it holds.
    """

    value: float
    unit: str
    within: float = 0.0
    note: str = ""


class Stage(Protocol):
    """A simulated device."""

    @property
    def name(self) -> str:
        """Plain name."""

    @property
    def summary(self) -> str:
        """One line on what it is."""

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """True values under the published quantity names; what has no closed form is left out."""

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel, shape (n,), full scale = 1, through the stage, starting from rest.

        `rng` is the source of the stage's own noise, where it makes any.
        """

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """Settled gain in dB of the fundamental of a steady sine at levels in dBFS, make-up included."""


def amplitude(level_db: Array) -> Array:
    """Linear factor of a level in dB."""
    return np.asarray(np.exp(level_db * (np.log(10) / 20)))


def in_pieces(work: Callable[[Array], Array], values: Array) -> Array:
    """Do, in place, what looks at single values: short pieces stay in the processor's own memory."""
    for start in range(0, values.size, PIECE):
        values[start : start + PIECE] = work(values[start : start + PIECE])
    return values


def delay_samples(stage: Stage, *, rate_hz: float) -> int:
    """Whole samples by which a stage delays the sound, 0 where its truth does not say."""
    known = stage.truth.get("path.latency")
    return 0 if known is None else round(known.value * rate_hz)


def gain_truth(makeup_db: float) -> dict[str, TrueValue]:
    """What a stage tells outright that has a make-up gain, no delay, and nothing else in closed form."""
    return {
        "static.makeup_gain": TrueValue(makeup_db, "dB"),
        "static.low_level_gain": TrueValue(makeup_db, "dB"),
        "path.latency": TrueValue(0.0, "s"),
    }
