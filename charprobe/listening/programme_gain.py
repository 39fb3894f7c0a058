"""Gain against time from the material itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from charprobe.files.sound.frames import BLOCK_FRAMES, Frames, View, read_padded
from charprobe.listening.aligning.filtering import through
from charprobe.values.arrays import Array
from charprobe.values.quantity import Z95

WINDOW_S = 0.004
MAX_POINTS = 400_000
_HOP_S = 0.002
_FLOOR = 1e-5  # power re the loudest window: what lies 50 dB below tells nothing of the gain
_COLOUR = 1.5  # saturation takes three times the third harmonic off the gain of a sine: 1.96 of these
_LOOSE_DB = 3.0  # standard uncertainty from which a window tells nothing
_CORRELATED = 6  # neighbouring residual samples that count as one


@dataclass(frozen=True)
class ProgrammeGain:
    """Gain of the processed sound over the dry, from moment to moment; arrays of shape (n,).

    Attributes
    ----------
    time_s : ndarray
        Middle of each window, from the first common frame.
    gain_db : ndarray
        Gain, make-up included.
    low_db, high_db : ndarray
        95 % interval of the gain, from what it leaves unexplained in the window, from what saturation may
        have taken, and from how sharply the trace bends there.
    level_dbfs : ndarray
        Level of the dry sound in the window (a full-scale sine is 0 dBFS).
    known : ndarray of bool
        False where the dry sound is too quiet, or the fit too loose, to tell; the gain is then held over.
    window_s : float
        Length of a window: faster changes are smoothed.
    """

    time_s: Array
    gain_db: Array
    low_db: Array
    high_db: Array
    level_dbfs: Array
    known: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    window_s: float


def trace_gain(
    dry: Frames, processed: Frames, *, dry_channels: tuple[int, ...], response: Array
) -> ProgrammeGain:
    """Estimate the gain of a pair on one clock.

    Parameters
    ----------
    dry, processed : Frames
        Frame for frame beside each other.
    dry_channels : tuple of int
        Dry channel of each processed channel; all channels share one gain.
    response : ndarray, shape (m, processed channels)
        Impulse response that the dry sound is sent through first; ones of shape (1, channels) for none.

    Notes
    -----
    In each window of 4 ms least squares of ``y - (g + h t) x``: letting the gain slope removes the pull
    towards the louder half of the window. Gains that move within less than about 4 ms come out smoothed; by
    how much is judged from the bend of the trace between neighbouring windows, and widens the interval, as
    does a window where the sound fades. What no gain explains and grows with the sound is taken for
    saturation, whose own loss of gain is not told from the stage's: it widens the interval too. Where only
    bass sounds, a window holds less than a cycle and distortion is not told from gain.
    """
    rate_hz = dry.rate_hz
    size = 2 * round(WINDOW_S * rate_hz / 2)
    hop = max(round(_HOP_S * rate_hz), dry.frames // MAX_POINTS)
    centres = np.arange(size // 2, max(dry.frames - size // 2, size // 2 + 1), hop)
    per_block = max(BLOCK_FRAMES // hop, 1)
    rows = []
    for k in range(0, centres.size, per_block):
        some = centres[k : k + per_block]
        start, stop = int(some[0]) - size // 2, int(some[-1]) + size // 2
        before = response.shape[0] - 1
        x = read_padded(dry, start - before, stop)[:, dry_channels]
        if before or response[0, 0] != 1:
            x = through(x, response)
        rows.append(
            _windows(x, read_padded(processed, start, stop), starts=some - size // 2 - start, size=size)
        )
    return _as_trace(np.concatenate(rows), centres / rate_hz, window_s=size / rate_hz)


def _windows(x: Array, y: Array, *, starts: NDArray[np.integer], size: int) -> Array:
    """Gain, its variance, dry power and unexplained power of each window; shape (windows, 4)."""
    t = (np.arange(x.shape[0]) - x.shape[0] / 2)[:, None]
    columns = np.concatenate(
        [[v.sum(axis=1)] for v in (x * x, t * x * x, t * t * x * x, x * y, t * x * y, y * y)]
    )
    running = np.concatenate([np.zeros((6, 1)), np.cumsum(columns, axis=1)], axis=1)
    xx, txx, ttxx, xy, txy, yy = running[:, starts + size] - running[:, starts]
    middle = starts + size / 2 - 0.5 - x.shape[0] / 2
    ttxx = ttxx - 2 * middle * txx + middle**2 * xx
    txx, txy = txx - middle * xx, txy - middle * xy
    determinant = xx * ttxx - txx**2
    sound = determinant > 1e-9 * xx * size**2 * xx
    safe = np.where(sound, determinant, 1.0)
    gain = np.where(sound, (ttxx * xy - txx * txy) / safe, 0.0)
    slope = np.where(sound, (xx * txy - txx * xy) / safe, 0.0)
    unexplained = np.maximum(yy - gain * xy - slope * txy, 1e-14 * yy)
    count = size * x.shape[1]
    variance = np.where(
        sound, unexplained / max(count / _CORRELATED - 2, 1) * ttxx * count / size / x.shape[1] / safe, np.inf
    )
    return np.stack([gain, variance, xx / count, unexplained / count], axis=1)


def _as_trace(rows: Array, time_s: Array, *, window_s: float) -> ProgrammeGain:
    gain, variance, power, unexplained = rows.T
    upright = np.sign(np.sum(gain * power)) or 1.0
    gain = gain * upright
    hop_s = float(np.diff(time_s[:2], append=np.inf)[0])
    bend_db = _bend_db(gain, steps=max(1, round(window_s / 2 / hop_s)))
    grown = np.maximum(unexplained - _steady(unexplained, power), 0.0)  # with the sound: distortion
    in_db = 20 / np.log(10) / np.maximum(gain, 1e-12)
    taken_db = in_db * _COLOUR * np.sqrt(grown / np.maximum(power, 1e-30))
    # a gain that bends leaves sound unexplained too: the larger of both causes counts
    std_db = np.hypot(in_db * np.sqrt(variance), np.maximum(taken_db, bend_db))
    loose = np.hypot(in_db * np.sqrt(variance), bend_db) >= _LOOSE_DB
    known = (power > _FLOOR * power.max()) & (gain > 1e-6) & ~loose
    gain_db = 20 * np.log10(np.maximum(gain, 1e-6))
    if known.any():
        held = np.maximum.accumulate(np.where(known, np.arange(known.size), -1))
        held = np.where(held < 0, int(np.argmax(known)), held)
        gain_db, std_db = gain_db[held], std_db[held]
    reach = Z95 * np.minimum(std_db, 60.0)
    level = 10 * np.log10(2 * power + 1e-30)
    return ProgrammeGain(time_s, gain_db, gain_db - reach, gain_db + reach, level, known, window_s)


def _steady(unexplained: Array, power: Array) -> float:
    """Power of what no gain explains in the quiet tenth of the windows with sound: noise."""
    sounding = power > _FLOOR * power.max()
    quiet = sounding & (power <= np.quantile(power[sounding], 0.1)) if sounding.any() else sounding
    return float(np.median(unexplained[quiet])) if quiet.any() else 0.0


def _bend_db(gain: Array, *, steps: int) -> Array:
    """How far the gain lies off the line between its neighbours half a window away: the largest nearby."""
    level = 20 * np.log10(np.abs(gain) + 1e-12)
    bend = np.zeros(gain.size)
    if gain.size > 2 * steps:
        bend[steps:-steps] = np.abs(level[2 * steps :] + level[: -2 * steps] - 2 * level[steps:-steps]) / 2
    return np.asarray(scipy.ndimage.maximum_filter1d(bend, 2 * steps + 1, mode="nearest"))


def gained(dry: Frames, trace: ProgrammeGain) -> Frames:
    """Return the dry sound with a gain trace applied: what dynamics alone would have made of it."""

    def read(start: int, stop: int) -> Array:
        gain_db = np.interp(np.arange(start, stop) / dry.rate_hz, trace.time_s, trace.gain_db)
        return np.asarray(dry.read_frames(start, stop) * 10 ** (gain_db[:, None] / 20))

    return View(dry.rate_hz, dry.frames, dry.channels, read)
