"""Faults by software that means well: automatic gain, noise suppression, idle mute, lossy coding."""

from __future__ import annotations

import numpy as np
import scipy
from numpy.lib.stride_tricks import sliding_window_view

from charprobe.simulation.devices.parts.ballistics import follow
from charprobe.values.arrays import Array

BLOCK_S = 0.005
TARGET_DBFS = -18.0
SUPPRESSED_DBFS, SUPPRESSED_BY_DB = -55.0, 40.0
IDLE_DBFS, IDLE_S = -80.0, 0.8
CODEC_HALF, TOP_HZ = 1024, 16_000.0  # samples between the frames of the lossy coder, and its band


def automatic_gain(capture: Array, *, most_db: float, rate_hz: float) -> Array:
    """A slow automatic gain pulls every level towards `TARGET_DBFS`, by at most `most_db` up or down.

    It turns down fast and up slowly, so a steady quiet tone rises after a burst, and silence is turned up all
    the way.
    """
    level_db, block = _block_levels_db(capture, rate_hz=rate_hz)
    wanted_db = np.clip(TARGET_DBFS - level_db, -most_db, most_db)
    return _apply_blocks(capture, -_followed(-wanted_db, attack_s=0.1, release_s=1.5), block)


def suppress_noise(capture: Array, *, rate_hz: float) -> Array:
    """A noise suppressor fades out whatever stays below `SUPPRESSED_DBFS`, by `SUPPRESSED_BY_DB`."""
    level_db, block = _block_levels_db(capture, rate_hz=rate_hz)
    wanted_db = np.where(level_db < SUPPRESSED_DBFS, -SUPPRESSED_BY_DB, 0.0)
    return _apply_blocks(capture, _followed(wanted_db, attack_s=0.02, release_s=0.25), block)


def _followed(wanted_db: Array, *, attack_s: float, release_s: float) -> Array:
    return follow(
        wanted_db, attack_s=attack_s, release_s=release_s, form="smooth branching", rate_hz=1 / BLOCK_S
    )


def idle_mute(capture: Array, *, rate_hz: float) -> Array:
    """Digital zero once the level has stayed below `IDLE_DBFS` for `IDLE_S`, until it comes back."""
    level_db, block = _block_levels_db(capture, rate_hz=rate_hz)
    quiet = level_db < IDLE_DBFS
    index = np.arange(quiet.size)
    last_loud = np.maximum.accumulate(np.where(quiet, -1, index))
    muted = quiet & (index - last_loud > round(IDLE_S / BLOCK_S))
    out = capture.copy()
    out[np.repeat(muted, block)[: capture.shape[0]]] = 0
    return out


def lossy_code(capture: Array, *, below_db: float = 30.0, rate_hz: float) -> Array:
    """Transform coding: nothing above `TOP_HZ`, the rest in steps `below_db` under its band's loudest line.

    Lapped cosine transform of 2048 samples with a sine window, about 30 bands. The rounding error of a frame
    spreads over all of it, also ahead of an attack.
    """
    return np.stack([_code(column, below_db, rate_hz) for column in capture.T], axis=1)


def _code(samples: Array, below_db: float, rate_hz: float) -> Array:
    half = CODEC_HALF
    frames = -(-samples.size // half) + 1
    padded = np.zeros((frames + 1) * half)
    padded[half : half + samples.size] = samples
    window = np.sin(np.pi * (np.arange(2 * half) + 0.5) / (2 * half))
    a, b, c, d = np.split(sliding_window_view(padded, 2 * half)[::half] * window, 4, axis=1)
    lines = scipy.fft.dct(np.hstack([-c[:, ::-1] - d, a - b[:, ::-1]]), type=4, norm="ortho")
    kept = int(half * min(1.0, 2 * TOP_HZ / rate_hz))
    edges = np.unique(np.concatenate([[0], np.geomspace(4, kept, 32).astype(int)]))
    loudest = np.maximum.reduceat(np.abs(lines[:, :kept]), edges[:-1], axis=1)
    step = np.repeat(np.maximum(loudest, 1e-9), np.diff(edges), axis=1) * 10 ** (-below_db / 20)
    coded = np.zeros_like(lines)
    coded[:, :kept] = np.round(lines[:, :kept] / step) * step
    first, second = np.split(scipy.fft.dct(coded, type=4, norm="ortho"), 2, axis=1)
    pieces = np.hstack([second, -second[:, ::-1], -first[:, ::-1], -first]) * window
    out = np.zeros((frames + 1, half))
    out[:-1] += pieces[:, :half]
    out[1:] += pieces[:, half:]
    return np.asarray(out.ravel()[half : half + samples.size])


def _block_levels_db(capture: Array, *, rate_hz: float) -> tuple[Array, int]:
    """Level in dBFS of the loudest channel in each block of `BLOCK_S`, and the samples in a block."""
    block = round(BLOCK_S * rate_hz)
    count = -(-capture.shape[0] // block)
    padded = np.zeros((count * block, capture.shape[1]))
    padded[: capture.shape[0]] = capture
    power = 2 * np.mean(padded.reshape(count, block, -1) ** 2, axis=1).max(axis=1)
    return 10 * np.log10(np.maximum(power, 1e-14)), block


def _apply_blocks(capture: Array, gain_db: Array, block: int) -> Array:
    """Apply one gain per block, joined by straight lines in dB between the blocks' ends."""
    ends = (np.arange(gain_db.size) + 1) * block
    smooth_db = np.interp(np.arange(capture.shape[0]), ends, gain_db)
    return np.asarray(capture * 10 ** (smooth_db[:, None] / 20))
