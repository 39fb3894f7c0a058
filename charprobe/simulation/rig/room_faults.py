"""What a room, a desk or another program adds to a capture: music, a ring tone, noise, a diffuse tail."""

from __future__ import annotations

from zlib import crc32

import numpy as np
import scipy

from charprobe.values.arrays import Array

NOTES_HZ = (196.0, 246.9, 293.7, 392.0, 329.6, 220.0)
NOTE_S = 0.35
RING_HZ = (1319.0, 1661.0)
RING_S, RING_FROM, RING_TO = 0.12, 0.4, 0.55  # a note's length, and the part of the capture it rings in
SWING_HZ, SWING_DB = 1.7, 30.0
DECAY_S = 0.4


def music(capture: Array, *, level_dbfs: float, rate_hz: float) -> Array:
    """Plucked notes with six harmonics each, one after another from first to last sample."""
    time_s = np.arange(capture.shape[0]) / rate_hz
    number = (time_s / NOTE_S).astype(int)
    note_hz = np.array(NOTES_HZ)[number * 7 % len(NOTES_HZ)]
    within_s = time_s - number * NOTE_S
    decay = np.minimum(within_s / 0.004, 1.0) * np.exp(-within_s / 0.25)
    orders = np.arange(1, 7)[:, None]
    line = np.sum(np.sin(2 * np.pi * orders * note_hz * within_s) / orders, axis=0)
    return capture + _at_level(decay * line, level_dbfs)[:, None]


def ring_tone(capture: Array, *, level_dbfs: float, rate_hz: float) -> Array:
    """Two notes in turn ring in the middle of the capture."""
    count = capture.shape[0]
    first, last = int(RING_FROM * count), int(RING_TO * count)
    time_s = np.arange(last - first) / rate_hz
    number = (time_s / RING_S).astype(int)
    within_s = time_s - number * RING_S
    edge = np.clip(np.minimum(within_s, RING_S - within_s) / 0.003, 0, 1)
    out = capture.copy()
    tone = np.sin(2 * np.pi * np.array(RING_HZ)[number % 2] * within_s)
    out[first:last] += 10 ** (level_dbfs / 20) * (edge * tone)[:, None]
    return out


def noise(capture: Array, *, level_dbfs: float) -> Array:
    """White noise, the same in all channels, another in each capture."""
    line = own_chance(capture).standard_normal(len(capture))
    return capture + _at_level(line, level_dbfs)[:, None]


def swinging_noise(capture: Array, *, level_dbfs: float, rate_hz: float) -> Array:
    """White noise whose level swings by `SWING_DB`, as a fan or the sea does."""
    time_s = np.arange(capture.shape[0]) / rate_hz
    swing_db = SWING_DB / 2 * np.sin(2 * np.pi * SWING_HZ * time_s)
    line = 10 ** (swing_db / 20) * own_chance(capture).standard_normal(time_s.size)
    return capture + _at_level(line, level_dbfs)[:, None]


def diffuse_tail(capture: Array, *, level_db: float, rate_hz: float) -> Array:
    """A reverberant tail of this energy below the direct sound, down by 60 dB after `DECAY_S`."""
    time_s = np.arange(round(1.2 * DECAY_S * rate_hz)) / rate_hz
    tail = np.random.default_rng(53).standard_normal(time_s.size) * 10 ** (-3 * time_s / DECAY_S)
    tail[: round(0.003 * rate_hz)] = 0
    tail *= 10 ** (level_db / 20) / np.sqrt(float(tail @ tail))
    wet = [scipy.signal.fftconvolve(column, tail)[: capture.shape[0]] for column in capture.T]
    return np.asarray(capture + np.stack(wet, axis=1))


def own_chance(capture: Array) -> np.random.Generator:
    """Chance that differs from capture to capture."""
    return np.random.default_rng(crc32(np.ascontiguousarray(capture).data))


def _at_level(line: Array, level_dbfs: float) -> Array:
    """Scale to a level; a full-scale sine is 0 dBFS."""
    return np.asarray(line * 10 ** (level_dbfs / 20) / np.sqrt(2 * np.mean(line**2)))
