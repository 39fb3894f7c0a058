"""Noise under a take that is taken back: even if the setting is the right one.

Noise that came ahead of the stage was turned down with the sound. Where a replica gives back less than the
stage took, the result keeps less noise in loud places than in quiet ones; what sound and the noise behind
the stage add there can only raise it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.replica.cell import Passed
from charprobe.values.arrays import Array, Index

FRAME_S = 0.02
LOWEST_HZ, WIDE_HZ, HIGHEST_SHARE = 1000.0, 1000.0, 0.475  # bands, up to that share of the rate
MOST_SPECTRA = 4000  # of a channel: of a long take every so many'th frame
FALL_DB_S = 60.0  # how fast the memory of a loud place fades: gains recover behind it
QUIET, PARTS = 0.2, 10  # share of the frames that are quiet; parts that all are told apart in, by loudness
LOW = 0.1  # quantile that stands for noise where sound covers most frames
LOW_ERRORS = 1.71  # standard deviation of that quantile, of normal draws, times the root of their number
SHARE = 0.5  # of the quiet frames that must lie near it, as those of steady noise do
SPREAD_DB, EVEN = 4.34, 0.67  # of one bin's power; ways of being another that a bin behind a window has
FLAT, FLATTER = -0.577, 0.15  # mean log of a bin of noise re the log of the mean, and how far below is none
SURE = 4.0  # standard errors
LEAST_FRAMES = 150
SILENT_DB = -150.0


@dataclass(frozen=True)
class Dip:
    """Level of noise in loud places over that in quiet ones, and the highest it may be; in one band."""

    depth_db: float
    highest_db: float
    low_hz: float
    high_hz: float

    def beyond(self, least_db: float) -> bool:
        """Whether the noise is lower by so much, and surely lower."""
        return self.depth_db < -least_db and self.highest_db < 0


@dataclass(frozen=True)
class Noise:
    """What noise tells: the deepest dip as printed and as taken back; None where it is not seen there."""

    printed: Dip | None
    result: Dip | None


class NoiseUnder:
    """Listens to what passes a cell that is taken back; asked at the end."""

    def __init__(self, *, rate_hz: float, frames: int) -> None:
        self._size = 1 << round(np.log2(FRAME_S * rate_hz))
        self._every = max(1, frames // self._size // MOST_SPECTRA)
        edges_hz = np.arange(LOWEST_HZ, HIGHEST_SHARE * rate_hz, WIDE_HZ)
        self._bins = np.round(edges_hz / rate_hz * self._size).astype(int)
        self._fall = FALL_DB_S * self._size / rate_hz
        self._window = np.hanning(self._size)[:, None]
        self._bin_hz = rate_hz / self._size
        self._sound: Array | None = None
        self._gain: Array | None = None
        self._count = 0
        self._levels: list[Array] = []  # of every frame, in dB, shape (n, channels)
        self._seen: list[tuple[Index, Array, Array, Array]] = []  # frames, gains, powers, flatness by band

    def heard(self, passed: Passed) -> None:
        """Take what passes the cell next."""
        sound, gain = passed.sound, passed.gain_db
        if self._sound is not None and self._gain is not None:
            sound, gain = np.concatenate([self._sound, sound]), np.concatenate([self._gain, gain])
        whole = sound.shape[0] // self._size * self._size
        frames, gains = (part[:whole].reshape(-1, self._size, part.shape[1]) for part in (sound, gain))
        self._sound, self._gain = sound[whole:], gain[whole:]
        gains = gains.mean(axis=1)
        numbers = np.arange(self._count, self._count + len(frames))
        self._count += len(frames)
        self._levels.append(10 * np.log10(np.mean(frames**2, axis=1) + 1e-20) + gains)
        chosen = numbers % self._every == 0
        power = np.abs(np.fft.rfft(frames[chosen] * self._window, axis=1)) ** 2 + 1e-20
        width, first = np.diff(self._bins)[:, None], self._bins[0]
        inside, starts = power[:, first : self._bins[-1]], self._bins[:-1] - first
        means = np.add.reduceat(inside, starts, axis=1) / width
        logs = np.add.reduceat(np.log(inside), starts, axis=1) / width
        self._seen.append((numbers[chosen], gains[chosen], 10 * np.log10(means), logs - np.log(means)))

    def told(self) -> Noise:
        """What the noise of all that was heard tells, in whichever channel tells the most."""
        none = Noise(None, None)
        if self._count < LEAST_FRAMES:
            return none
        levels = np.concatenate(self._levels)
        loud = np.empty_like(levels)
        last = np.full(levels.shape[1], -200.0)
        for i, level in enumerate(levels):
            loud[i] = last = np.maximum(level, last - self._fall)
        at, gain, power, flat = (np.concatenate(part) for part in zip(*self._seen, strict=True))
        found = [
            (self._dip(loud[at, k], gain[:, k], power[:, :, k] + gain[:, k : k + 1], flat[:, :, k]),
             self._dip(loud[at, k], gain[:, k], power[:, :, k], flat[:, :, k]))
            for k in range(levels.shape[1])
        ]  # fmt: skip
        known = [Noise(*one) for one in found if one[0] is not None or one[1] is not None]
        return min(known, key=lambda one: one.result.highest_db if one.result else np.inf, default=none)

    def _dip(self, loud: Array, gain: Array, power: Array, flat: Array) -> Dip | None:
        """The deepest dip that two neighbouring parts of the frames and two bands show."""
        order = np.argsort(loud, kind="stable")
        quiet = order[: round(QUIET * order.size)]
        parts = np.array_split(order, PARTS)[round(QUIET * PARTS) :]
        # noise behind the stage lies higher where less gain was given: parts with more gain tell nothing
        told = np.array([gain[part].mean() <= gain[quiet].mean() + 0.1 for part in parts])
        dips = []
        for band, (first, stop) in enumerate(zip(self._bins[:-1], self._bins[1:], strict=True)):
            spread = SPREAD_DB / np.sqrt(max(1.0, EVEN * (stop - first)))
            floor = float(np.quantile(power[quiet, band], LOW))
            near = quiet[power[quiet, band] < floor + SURE * spread]
            if (
                floor < SILENT_DB
                or near.size < SHARE * quiet.size
                or not self._noisy(flat[near, band], stop - first)
            ):
                continue
            error = LOW_ERRORS * spread * np.sqrt(1 / quiet.size + PARTS / order.size)
            depth = np.array([np.quantile(power[part, band], LOW) for part in parts]) - floor
            pairs = np.where(told[:-1] & told[1:], np.maximum(depth[:-1], depth[1:]), np.inf)
            deepest = float(pairs.min())
            if np.isfinite(deepest):
                dips.append(Dip(deepest, deepest + SURE * error, first * self._bin_hz, stop * self._bin_hz))
        dips.sort(key=lambda dip: dip.highest_db)
        return dips[1] if len(dips) > 1 else None

    @staticmethod
    def _noisy(flat: Array, bins: int) -> bool:
        """Whether bins scatter as those of noise do; a tone among them stands out."""
        return bool(np.median(flat) > FLAT * (1 - 1 / bins) - FLATTER)
