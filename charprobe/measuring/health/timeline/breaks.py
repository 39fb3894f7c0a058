"""Breaks in a running tone: what is left when the tone and its harmonics are taken out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy

from charprobe.values.arrays import Array
from charprobe.values.running_median import running_median

FRAME = 2048
MOST_HARMONICS = 24
MOVING_HARMONICS = 3  # whose amplitude may move within a frame
LEAST_SAMPLES_PER_TERM = 3
ROUNDS = 6  # of fitting the harmonics without the pulses that stand out
STRUCK = 0.1  # of the strongest pulse within a frame: less may be what it spread into the fit
LEAST_BLOCK_S = 0.001
SIDE_BLOCKS = 12  # on each side, whose median says what is usual
OUTSTANDING = 4.0  # times the usual largest value of a block; noise alone reaches 2.4 in an hour
LEAST_OF_ONE_SAMPLE = 0.3  # of the smallest mark that one lost sample leaves, at the tone's peak
# pulses elsewhere, nearly as large: a curve's kink that beats with the sampling rate
RECURS, NEARLY = 3, 0.5
TOGETHER_S = 0.02  # breaks closer than this are one event


@dataclass(frozen=True)
class Break:
    """Samples `start` to `stop` of the piece judged, between which a tone does not run on.

    `height` is that of a click of one sample that leaves such a mark.
    """

    start: int
    stop: int
    height: float


def find_breaks(samples: Array, *, frequency_hz: float, rate_hz: float) -> tuple[Break, ...]:
    """Find where a tone is interrupted.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        A stretch in which one tone runs, its level moving smoothly.
    frequency_hz, rate_hz : float
        Its frequency as sampled, and the sampling rate.

    Returns
    -------
    tuple of Break
        In order; empty for a stretch too short to tell.

    Notes
    -----
    Three taps take the tone out and turn every step or kink into a pulse of a few samples; harmonics that a
    device adds are fitted and taken out frame by frame. A pulse counts that stands `OUTSTANDING` times above
    the largest value of the usual period around it, so distortion, which repeats in every period, never
    counts, and that is as large as the mark of a lost sample, so kinks of a device's gain do not count
    either. A break by whole periods leaves no mark.
    """
    # what a recorder's drift turns it by within a frame is nothing, and takes of one tone share their basis
    omega = float(f"{2 * np.pi * frequency_hz / rate_hz:.6g}")
    block = max(round(LEAST_BLOCK_S * rate_hz), int(np.ceil(rate_hz / frequency_hz)))
    count = (samples.size - 2) // block
    if count < SIDE_BLOCKS // 2:
        return ()
    pulses = 2 * np.cos(omega) * samples[1:-1]
    np.subtract(samples[2:], pulses, out=pulses)
    pulses += samples[:-2]
    blocks = samples[1 : count * block + 1].reshape(count, block)
    power = np.einsum("ij,ij->i", blocks, blocks) / block
    mark = LEAST_OF_ONE_SAMPLE * min(omega**2 / 2, 0.5) * np.sqrt(2)
    if _most_left(pulses, omega) <= mark * np.sqrt(power.min()):
        return ()
    harmonics = _harmonics(pulses, omega)
    rest = np.abs(pulses - harmonics)
    if rest[: count * block].max() <= mark * np.sqrt(power.min()):
        return ()
    least = mark * np.sqrt(_usual(power))
    for _ in range(ROUNDS):
        blocks = rest[: count * block].reshape(count, block)
        largest = blocks.max(axis=1)
        limit = np.maximum(OUTSTANDING * _usual(largest), least)
        if not np.any(largest > limit):
            return ()
        reach = int(TOGETHER_S * rate_hz)
        strongest = scipy.ndimage.maximum_filter1d(rest, 2 * max(reach, FRAME // 2) + 1)
        limit_each = np.repeat(limit, block)
        limit_each = np.pad(limit_each, (0, pulses.size - limit_each.size), mode="edge")
        struck = (rest > limit_each) & (rest > STRUCK * strongest)
        harmonics = _harmonics(np.where(struck, harmonics, pulses), omega)
        rest = np.abs(pulses - harmonics)
    rest = rest[: count * block]
    marks = np.flatnonzero(rest > np.repeat(limit, block)) + 1
    if marks.size == 0:
        return ()
    parts = np.split(marks, np.flatnonzero(np.diff(marks) > TOGETHER_S * rate_hz) + 1)
    elsewhere = rest.copy()
    for part in parts:
        elsewhere[max(0, int(part[0]) - block) : int(part[-1]) + block] = 0
    usual = np.sort(elsewhere.reshape(count, block).max(axis=1))
    recurring = float(usual[-RECURS]) if count >= RECURS else 0.0
    heights = [float(rest[part[0] - 1 : part[-1]].max()) for part in parts]
    return tuple(
        Break(int(part[0]), int(part[-1]) + 1, height / 2)
        for part, height in zip(parts, heights, strict=True)
        if NEARLY * height > recurring
    )


def _usual(values: Array) -> Array:
    """Larger of the medians of the blocks before and of those after each block."""
    size = min(SIDE_BLOCKS, values.size // 2 * 2)
    shift = size // 2
    medians, at = running_median(values, width=size + 1, beyond="edge"), np.arange(values.size)
    before, after = medians[np.maximum(at - shift, 0)], medians[np.minimum(at + shift, at[-1])]
    return np.asarray(np.maximum(before, after))


def _most_left(pulses: Array, omega: float) -> float:
    """What no pulse exceeds once the harmonics are taken out; cheaper than taking them out."""
    size = min(FRAME, pulses.size)
    whole = pulses[: pulses.size // size * size].reshape(-1, size)
    most = max(float(np.einsum("ij,ij->i", whole, whole).max()), float(pulses[-size:] @ pulses[-size:]))
    return max(float(pulses.max()), -float(pulses.min())) + _reach(omega, size) * float(np.sqrt(most))


@lru_cache(maxsize=64)
def _reach(omega: float, size: int) -> float:
    """Most that the fitted harmonics of a frame of energy 1 come to in one sample."""
    basis = _basis(omega, size)
    return float(np.sqrt(np.einsum("ij,ij->i", basis, basis).max()))


def _harmonics(pulses: Array, omega: float) -> Array:
    """The part of the pulses that repeats with the tone, constant or moving evenly within each frame."""
    fitted = np.zeros(pulses.size)
    size = min(FRAME, pulses.size)
    basis = _basis(omega, size)
    if basis.shape[1] * LEAST_SAMPLES_PER_TERM > size:
        return fitted
    whole = pulses.size // size * size
    fitted[:whole] = ((pulses[:whole].reshape(-1, size) @ basis) @ basis.T).ravel()
    if whole < pulses.size:
        fitted[whole:] = (basis @ (basis.T @ pulses[-size:]))[whole - pulses.size :]
    return fitted


@lru_cache(maxsize=8)
def _basis(omega: float, size: int) -> Array:
    """Orthonormal columns that span an offset and the harmonics up to half the rate, shape (size, k)."""
    orders = np.arange(1, max(1, min(MOST_HARMONICS, int(0.95 * np.pi / omega))) + 1)
    phase = np.outer(np.arange(size) - size / 2, omega * orders)
    waves = np.concatenate([np.cos(phase), np.sin(phase)], axis=1)
    low = orders <= MOVING_HARMONICS
    moving = waves[:, np.concatenate([low, low])] * np.linspace(-1, 1, size)[:, None]
    return np.asarray(np.linalg.qr(np.concatenate([np.ones((size, 1)), waves, moving], axis=1))[0])
