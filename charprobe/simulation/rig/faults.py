"""Things that go wrong with a recording, done to a finished capture on purpose.

Every function takes a capture of shape (n, channels) and returns a new one; positions and lengths are in
samples, counted in the capture it is given.
"""

from __future__ import annotations

import numpy as np
import scipy

from charprobe.simulation.rig.resample import read_between
from charprobe.values.arrays import Array

WARP_BLOCK = 512  # samples over which a wandering clock is held constant


def zero_out(capture: Array, *, at: int, count: int) -> Array:
    """Dropout: `count` samples become zero, the rest stays where it was."""
    out = capture.copy()
    out[at : at + count] = 0
    return out


def lose(capture: Array, *, at: int, count: int) -> Array:
    """Samples vanish; what follows comes early. Also a gap that was edited out."""
    return np.concatenate([capture[:at], capture[at + count :]])


def repeat(capture: Array, *, at: int, count: int) -> Array:
    """`count` samples play twice; what follows comes late."""
    return np.concatenate([capture[: at + count], capture[at:]])


def insert_silence(capture: Array, *, at: int, count: int) -> Array:
    """Silence is put in; what follows comes late."""
    return np.concatenate([capture[:at], np.zeros((count, capture.shape[1])), capture[at:]])


def swap_stretches(capture: Array, *, first: int, second: int, count: int) -> Array:
    """Two stretches of equal length change places, as when pieces are put together in the wrong order."""
    out = capture.copy()
    out[first : first + count] = capture[second : second + count]
    out[second : second + count] = capture[first : first + count]
    return out


def cut_start(capture: Array, *, count: int) -> Array:
    """The recorder started late."""
    return capture[count:].copy()


def cut_end(capture: Array, *, count: int) -> Array:
    """The recorder stopped early."""
    return capture[: max(0, capture.shape[0] - count)].copy()


def two_takes(capture: Array, *, gap: int) -> Array:
    """The same take twice in one file, with silence between."""
    return np.concatenate([capture, np.zeros((gap, capture.shape[1])), capture])


def fade_edges(capture: Array, *, count: int) -> Array:
    """Linear fades over the first and last `count` samples."""
    ramp = np.ones(capture.shape[0])
    ramp[:count] = np.linspace(0, 1, count, endpoint=False)
    ramp[capture.shape[0] - count :] = ramp[:count][::-1]
    return capture * ramp[:, None]


def click(capture: Array, *, at: int, height: float) -> Array:
    """One sample is off by `height`."""
    out = capture.copy()
    out[at] += height
    return out


def clip(capture: Array, *, ceiling_dbfs: float) -> Array:
    """Flat tops at this level: 0 dBFS is the recorder, less an earlier stage or a file turned down later."""
    ceiling = 10 ** (ceiling_dbfs / 20)
    return np.clip(capture, -ceiling, ceiling)


def spoil(capture: Array, *, at: int, value: float) -> Array:
    """One sample becomes NaN, infinite or absurd."""
    out = capture.copy()
    out[at] = value
    return out


def offset(capture: Array, *, amount: float) -> Array:
    """Direct current, full scale = 1."""
    return capture + amount


def coarse(capture: Array, *, bits: int) -> Array:
    """Only this many bits carry data; rounding without dither."""
    steps = 2.0 ** (bits - 1)
    return np.asarray(np.clip(np.round(capture * steps), -steps, steps - 1) / steps)


def misplace_bits(capture: Array) -> Array:
    """24-bit data in the low part of 32-bit words: exactly 48.16 dB down."""
    return coarse(capture, bits=24) / 256


def normalise(capture: Array, *, peak_dbfs: float) -> Array:
    """Turned up or down until the loudest sample reaches `peak_dbfs`."""
    return np.asarray(capture * (10 ** (peak_dbfs / 20) / np.abs(capture).max()))


def step_gain(capture: Array, *, at: int, gain_db: float) -> Array:
    """A knob was moved: everything from `at` on changes level."""
    out = capture.copy()
    out[at:] *= 10 ** (gain_db / 20)
    return out


def drift_gain(capture: Array, *, total_db: float) -> Array:
    """The level creeps by `total_db`, evenly in dB, from first to last sample."""
    ramp_db = np.linspace(0, total_db, capture.shape[0])
    return np.asarray(capture * 10 ** (ramp_db[:, None] / 20))


def second_path(capture: Array, *, delay: int, gain_db: float) -> Array:
    """A copy is added, `delay` samples late or, if negative, ahead: direct monitoring or a parallel path."""
    out, count, late = capture.copy(), capture.shape[0], abs(delay)
    into, source = (slice(late, count), slice(0, count - late))[:: 1 if delay >= 0 else -1]
    out[into] += 10 ** (gain_db / 20) * capture[source]
    return out


def add_tone(capture: Array, *, frequency_hz: float, level_dbfs: float, rate_hz: float) -> Array:
    """A steady foreign tone."""
    phase = 2 * np.pi * frequency_hz / rate_hz * np.arange(capture.shape[0])
    return np.asarray(capture + 10 ** (level_dbfs / 20) * np.cos(phase)[:, None])


def rate_convert(capture: Array) -> Array:
    """Converted to 147/160 of the rate, as 48 to 44.1 kHz; what lies above half the new one folds back."""
    ratio = 147 / 160
    count = int(capture.shape[0] * ratio)
    columns = [read_between(column, start=0.0, step=1 / ratio, count=count) for column in capture.T]
    return np.stack(columns, axis=1)


def convert_and_back(capture: Array) -> Array:
    """Converted to 147/160 of the sampling rate and back, as 48 to 44.1 kHz: nothing is left near the top."""
    half = 147 * 160  # taps of the filter on each side of its middle, a whole number of samples at both rates
    taps = scipy.signal.firwin(2 * half + 1, 0.94 / 160, window=("kaiser", 9.0))
    there = scipy.signal.upfirdn(147 * taps, capture, 147, 160, axis=0)[half // 160 :]
    back = scipy.signal.upfirdn(160 * taps, there, 160, 147, axis=0)[half // 147 :]
    return np.asarray(back[: capture.shape[0]])


def convert_roughly(capture: Array, *, reach: int) -> Array:
    """Converted to 147/160 of the sampling rate and back by filters of 2 × `reach` samples; 1 is a line."""
    rates = (147 / 160, 160 / 147)
    for ratio in rates:
        at = np.arange(int(capture.shape[0] * ratio)) / ratio
        first = np.floor(at).astype(int)
        total = np.zeros((at.size, capture.shape[1]))
        for shift in range(1 - reach, reach + 1):
            away = at - first - shift
            near = (
                np.maximum(1 - np.abs(away), 0)
                if reach == 1
                else np.sinc(away) * np.cos(away * np.pi / 2 / reach) ** 2
            )
            total += near[:, None] * capture[np.clip(first + shift, 0, capture.shape[0] - 1)]
        capture = total
    return capture


def strip_silence(capture: Array, *, below_dbfs: float, kept: int) -> Array:
    """Every pause below a level is shortened to `kept` samples, as an editor strips silence."""
    quiet = np.abs(capture).max(axis=1) < 10 ** (below_dbfs / 20)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], quiet, [False]]).astype(int)))
    keep = np.ones(capture.shape[0], dtype=bool)
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        keep[start + kept : stop] = False
    return np.asarray(capture[keep])


def wow(capture: Array, *, depth_ppm: float, frequency_hz: float, rate_hz: float) -> Array:
    """The clock wanders as a sine of this depth and frequency around the right speed."""
    omega = 2 * np.pi * frequency_hz / rate_hz
    edges = np.append(np.arange(0, capture.shape[0], WARP_BLOCK), capture.shape[0]).astype(float)
    positions = edges + 1e-6 * depth_ppm / omega * (1 - np.cos(omega * edges))
    out = np.empty_like(capture)
    for edge, stop, start, end in zip(edges[:-1], edges[1:], positions[:-1], positions[1:], strict=True):
        reach = slice(max(0, int(start) - 100), int(end) + 101)
        for channel in range(capture.shape[1]):
            out[int(edge) : int(stop), channel] = read_between(
                capture[reach, channel],
                start=start - reach.start,
                step=(end - start) / (stop - edge),
                count=int(stop - edge),
            )
    return out
