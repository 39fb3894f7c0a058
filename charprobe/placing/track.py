"""One channel of a capture beside the stimulus it should hold, and a clock to read it by."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from charprobe.files.sound.source import Source
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.arrays import Array


@dataclass(frozen=True)
class Track:
    """What is placed: one channel of a capture, and what was played into it.

    Attributes
    ----------
    source : Source
        The capture.
    channel : int
        Its channel, from 0.
    stimulus : Stimulus
        What was played.
    """

    source: Source
    channel: int
    stimulus: Stimulus

    @property
    def label(self) -> str:
        """The track in words, for messages: "bright.wav, channel 2"."""
        return f"{self.source.name}, channel {self.channel + 1}"

    def finite(self, start: int, stop: int) -> Array:
        """Capture samples ``[start, stop)``, clipped to the file; what is not finite reads as 0."""
        return finite(self.source.read(start, stop, self.channel))


@dataclass(frozen=True)
class Clock:
    """A capture's clock without jumps: capture index of stimulus sample 0, and the drift in ppm."""

    delay: float
    drift_ppm: float

    @property
    def factor(self) -> float:
        """Capture samples per stimulus sample."""
        return 1 + 1e-6 * self.drift_ppm


def finite(samples: Array) -> Array:
    """Samples as they are, but 0 where they are not finite."""
    if math.isfinite(samples @ samples) or np.all(np.isfinite(samples)):
        return samples
    return np.nan_to_num(samples, nan=0.0, posinf=0.0, neginf=0.0)
