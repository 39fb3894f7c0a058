"""More faults of the bench alone: worn tape and sliding heads, editors that mend what is whole, players that stall.

Nothing here shares code with a detector; sizes are mild, typical and severe.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage, signal

from charprobe.values.arrays import Array
from tests.benchmarks.fault_sound import clock_s, own_chance, peak_of, read_late


def _parted(capture: Array, hz: float, rate_hz: float) -> tuple[Array, Array]:
    """Bass and treble about a frequency, without turning phases."""
    sos = signal.butter(2, hz / (rate_hz / 2), output="sos")
    bass = np.asarray(signal.sosfiltfilt(sos, capture, axis=0))
    return bass, capture - bass


def _envelope(sound: Array, seconds: float, rate_hz: float) -> Array:
    """A smoothed magnitude, shape (n, 1): the past alone is heard."""
    pole = np.exp(-1 / (seconds * rate_hz))
    return np.asarray(signal.lfilter([1 - pole], [1, -pole], np.abs(sound).max(axis=1)))[:, None]


def treble_dropouts(capture: Array, times: float, rate_hz: float) -> Array:
    """Dust lifts the tape: treble above 3 kHz falls by 15 dB for 25 ms, so many times."""
    bass, treble = _parted(capture, 3000, rate_hz)
    lost, rng = np.zeros(capture.shape[0]), own_chance(capture, 701)
    for start in rng.integers(0, capture.shape[0], round(times)).tolist():
        lost[start : start + round(0.025 * rate_hz)] = 1
    lost = ndimage.gaussian_filter1d(lost, 0.002 * rate_hz)
    return np.asarray(bass + treble * 10 ** (-15 / 20 * lost)[:, None])


def azimuth_wanders(capture: Array, samples: float, rate_hz: float) -> Array:
    """Two tracks of one sound are summed, one of them late by so many samples as the tape skews in 3 s."""
    skew = samples * np.sin(2 * np.pi * clock_s(capture, rate_hz) / 3.1)
    return (capture + read_late(capture, skew)) / 2


def switching_gain(capture: Array, percent: float, rate_hz: float) -> Array:
    """A supply that switches moves the gain at 7.8 kHz."""
    return np.asarray(
        capture * (1 + percent / 100 * np.sin(2 * np.pi * 7813 * clock_s(capture, rate_hz)))[:, None]
    )


def popcorn(capture: Array, of_full_scale: float, rate_hz: float) -> Array:
    """A bad transistor: the offset jumps between two values at random, four times a second."""
    rng = own_chance(capture, 702)
    jumps = rng.random(capture.shape[0]) < 4 / rate_hz
    return np.asarray(capture + of_full_scale * (np.cumsum(jumps) % 2)[:, None])


def reversed_piece(capture: Array, seconds: float, rate_hz: float) -> Array:
    """An editor turned a piece round in time, from 46 % of the length on."""
    out, start = capture.copy(), round(0.46 * capture.shape[0])
    piece = slice(start, start + round(seconds * rate_hz))
    out[piece] = capture[piece][::-1]
    return out


def dynamic_filter(capture: Array, down_db: float, rate_hz: float) -> Array:
    """A noise filter lowers treble above 4 kHz by so many dB where little of it sounds."""
    bass, treble = _parted(capture, 4000, rate_hz)
    opened = np.clip(_envelope(treble, 0.02, rate_hz) / (0.01 * peak_of(capture)), 0, 1)
    return np.asarray(bass + treble * 10 ** (-down_db / 20 * (1 - opened)))


def false_bass(capture: Array, level_db: float, rate_hz: float) -> Array:
    """A loudness tool adds even harmonics of what lies below 150 Hz, so many dB down."""
    bass, _ = _parted(capture, 150, rate_hz)
    made = np.abs(bass) - _envelope(bass, 0.05, rate_hz)
    return np.asarray(capture + 10 ** (level_db / 20) * made)


def player_fades_in(played: Array, seconds: float, rate_hz: float) -> Array:
    """The player comes in softly: from silence to full level within so many seconds of its start."""
    return np.asarray(played * np.clip(clock_s(played, rate_hz) / seconds, 0, 1)[:, None] ** 0.5)


def player_stalls(played: Array, ms: float, rate_hz: float) -> Array:
    """The player runs out of data three times and is silent for so long; what it missed is not made good."""
    out, rng = played.copy(), own_chance(played, 703)
    for start in rng.integers(played.shape[0] // 10, played.shape[0] * 9 // 10, 3).tolist():
        out[start : start + round(ms / 1000 * rate_hz)] = 0
    return out


def pilot_ahead(played: Array, level_dbfs: float, rate_hz: float) -> Array:
    """A pilot tone of 22.6 kHz goes into the stage with the sound."""
    return np.asarray(
        played + 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * 22_600 * clock_s(played, rate_hz))[:, None]
    )


def wind(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    """An air conditioner blows on a cable: gusts below 90 Hz for 1.5 s, every 6 s."""
    rng = own_chance(capture, 704)
    sos = signal.butter(2, 90 / (rate_hz / 2), output="sos")
    breath = signal.sosfilt(sos, rng.standard_normal(capture.shape[0]))
    gust = np.clip(np.sin(2 * np.pi * (clock_s(capture, rate_hz) / 6 + rng.random())), 0, None) ** 4
    return np.asarray(
        capture + (10 ** (level_dbfs / 20) / np.sqrt(2) * gust * breath / np.std(breath))[:, None]
    )


def stuttering_gain(capture: Array, db: float, _: float) -> Array:
    """A failing control takes one of two gains, so many dB apart, for each 64 samples by chance."""
    blocks = own_chance(capture, 705).random(capture.shape[0] // 64 + 1) < 0.5
    return np.asarray(capture * 10 ** (db / 20 * np.repeat(blocks, 64)[: capture.shape[0]])[:, None])


def treble_invented(capture: Array, above_hz: float, rate_hz: float) -> Array:
    """A link sends no treble; what lies an octave below, 20 dB down, is moved up in its place."""
    spectrum = np.fft.rfft(capture, axis=0)
    first, count = round(above_hz / rate_hz * capture.shape[0]), spectrum.shape[0]
    moved = (np.arange(first, count) - first // 2) % first
    spectrum[first:] = 0.1 * spectrum[np.maximum(moved, first // 2)]
    return np.asarray(np.fft.irfft(spectrum, capture.shape[0], axis=0))


def snapped_to_grid(capture: Array, ms: float, rate_hz: float) -> Array:
    """An editor moved every sound that follows a pause to its grid, so far at most."""
    near = ndimage.maximum_filter1d(np.abs(capture).max(axis=1), round(0.05 * rate_hz))
    starts = np.flatnonzero(np.diff((near > 3e-3 * peak_of(capture)).astype(int)) > 0)
    out, rng = capture.copy(), own_chance(capture, 706)
    for first, last in zip(starts[1:].tolist(), [*starts[2:].tolist(), capture.shape[0]], strict=True):
        by = round(rng.uniform(-1, 1) * ms / 1000 * rate_hz)
        out[first:last] = capture[np.clip(np.arange(first, last) - by, 0, capture.shape[0] - 1)]
    return out


def treble_clipped(capture: Array, db: float, rate_hz: float) -> Array:
    """A transmitter lifts treble, clips what stands so many dB re peak above, and lowers it again."""
    b, a = signal.bilinear([1 / (2 * np.pi * 3000), 1], [1 / (2 * np.pi * 18_000), 1], rate_hz)
    lifted = np.asarray(signal.lfilter(b, a, capture, axis=0))
    limit = 10 ** (db / 20) * peak_of(lifted)
    return np.asarray(signal.lfilter(a, b, np.clip(lifted, -limit, limit), axis=0))
