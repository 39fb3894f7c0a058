"""The rig around a stage: gain, delay, another clock, coupling, hum, noise and converters."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.simulation.devices.parts.first_order import low_cut
from charprobe.simulation.devices.stage import PIECE
from charprobe.simulation.rig.resample import read_between
from charprobe.values.arrays import Array

HUM_FAMILY_DB = (0.0, -12.0, -4.0, -20.0, -9.0, -26.0, -14.0, -30.0)  # orders 1 to 8, odd ones stronger


@dataclass(frozen=True)
class Rig:
    """Playback, cables and recorder; every part can be left at its harmless default.

    Stimulus sample 0 stands in the capture at ``lead_s * rate + delay_samples`` (fractional), and stimulus
    sample p at ``position_of_start + p / step``: see `start` and `step`, which have the meaning they have in
    `Cut`.

    Attributes
    ----------
    gain_db : float
        Gain of the path.
    delay_samples : float >= 0
        Latency in capture samples, fractional.
    drift_ppm : float
        How much faster the recorder's clock runs than the player's.
    noise_dbfs : float or None
        White noise over the whole band, as a level: rms = 10**(dBFS/20)/sqrt(2), since a full-scale sine is 0
        dBFS.
    ac_corner_hz : float or None
        First-order AC coupling.
    dc_offset : float
        Offset added by the recorder, full scale = 1.
    bits : {16, 24} or None
        Converter word, rounding and clipping at full scale; None keeps float.
    dither : bool
        Triangular dither of two steps before rounding.
    inverted : bool
        Polarity.
    channels : int >= 1
        Channels recorded from one signal; the noise of each is its own.
    hum_hz, hum_dbfs : float, float or None
        Mains frequency and level of its fundamental; orders 2 to 8 follow a fixed family.
    lead_s, tail_s : float >= 0
        Time recorded before and after the stimulus.
    """

    gain_db: float = 0.0
    delay_samples: float = 0.0
    drift_ppm: float = 0.0
    noise_dbfs: float | None = None
    ac_corner_hz: float | None = None
    dc_offset: float = 0.0
    bits: int | None = None
    dither: bool = False
    inverted: bool = False
    channels: int = 1
    hum_hz: float = 50.0
    hum_dbfs: float | None = None
    lead_s: float = 0.0
    tail_s: float = 0.0

    def __post_init__(self) -> None:
        if self.delay_samples < 0 or self.lead_s < 0 or self.tail_s < 0:
            raise ValueError("delay_samples, lead_s and tail_s must be >= 0")
        if self.bits not in (None, 16, 24) or self.channels < 1:
            raise ValueError("bits must be 16, 24 or None, and channels at least 1")

    @property
    def step(self) -> float:
        """Stimulus samples per capture sample."""
        return 1 / (1 + 1e-6 * self.drift_ppm)

    def start(self, *, rate_hz: float) -> float:
        """Stimulus position of capture sample 0, in stimulus samples; never positive."""
        return -(round(self.lead_s * rate_hz) + self.delay_samples) * self.step

    def record(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> Array:
        """Record what the stage put out, shape (n,), on the stimulus clock; shape (m, channels).

        The capture is long enough to hold all samples, lead and tail; `rng` makes noise and dither.
        """
        line = self._line(samples, rate_hz=rate_hz)[:, None]
        capture = line if self.channels == 1 else np.repeat(line, self.channels, axis=1)
        return self._convert(capture, rate_hz=rate_hz, rng=rng)

    def record_channels(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> Array:
        """Record signals of shape (n, c), each on a channel of its own; shape (m, c), see `record`.

        `channels` is not used: there are as many as there are signals.
        """
        capture = np.stack([self._line(column, rate_hz=rate_hz) for column in samples.T], axis=1)
        return self._convert(capture, rate_hz=rate_hz, rng=rng)

    def _line(self, samples: Array, *, rate_hz: float) -> Array:
        """What arrives at the converter of one channel, without hum and noise; shape (m,)."""
        start, step = self.start(rate_hz=rate_hz), self.step
        count = int(np.ceil((samples.size - start) / step)) + round(self.tail_s * rate_hz)
        line = read_between(samples, start=start, step=step, count=count)
        line *= (-1 if self.inverted else 1) * 10 ** (self.gain_db / 20)
        if self.ac_corner_hz is not None:
            line = low_cut(line, corner_hz=self.ac_corner_hz, rate_hz=rate_hz)
        line += self.dc_offset
        return line

    def _convert(self, capture: Array, *, rate_hz: float, rng: np.random.Generator) -> Array:
        """Add hum, the same in all channels, and noise, and convert; shape (m, c)."""
        if self.hum_dbfs is not None:
            line = hum(
                capture.shape[0], mains_hz=self.hum_hz, level_dbfs=self.hum_dbfs, rate_hz=rate_hz, rng=rng
            )
            capture += line[:, None]
        if self.noise_dbfs is not None:
            for start in range(0, len(capture), PIECE):
                piece = capture[start : start + PIECE]
                piece += 10 ** (self.noise_dbfs / 20) / np.sqrt(2) * rng.standard_normal(piece.shape)
        if self.bits is None:
            return capture
        return quantise(capture, bits=self.bits, dither=self.dither, rng=rng)


def hum(count: int, *, mains_hz: float, level_dbfs: float, rate_hz: float, rng: np.random.Generator) -> Array:
    """Mains hum with its family of harmonics, shape (count,); phases drawn from `rng`."""
    time_s = np.arange(count) / rate_hz
    total = np.zeros(count)
    for order, relative_db in enumerate(HUM_FAMILY_DB, start=1):
        phase = 2 * np.pi * (order * mains_hz * time_s + rng.random())
        total += 10 ** ((level_dbfs + relative_db) / 20) * np.cos(phase)
    return total


def quantise(samples: Array, *, bits: int, dither: bool, rng: np.random.Generator) -> Array:
    """Round to a converter's steps and clip at its full scale; same shape."""
    steps = 2.0 ** (bits - 1)
    scaled = samples * steps
    if dither:
        drawn = rng.random(samples.shape)
        scaled += drawn
        scaled -= rng.random(out=drawn)
    np.round(scaled, out=scaled)
    np.clip(scaled, -steps, steps - 1, out=scaled)
    scaled /= steps
    return scaled
