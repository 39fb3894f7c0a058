"""Rough place of one sound in another, from when their bands grow loud: gain and colour do not matter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from charprobe.cut import Array
from charprobe.listening.blocks import BLOCK_FRAMES, Frames, read_padded

HOP = 256
_SIZE = 512
_EDGES_HZ = (80, 250, 600, 1400, 3200, 7000, 14_000)
_FLOOR = 1e-7  # re the band's mean power: what lies 70 dB below does not count as an onset
MIN_SCORE = 8.0  # peak over scatter of the correlation; unrelated sound stays below 6


@dataclass(frozen=True)
class Activity:
    """Change of the log level of each band from hop to hop; shape (hops, bands), each band of unit power."""

    rises: Array


def activity(source: Frames) -> Activity:
    """Measure when the bands of a source grow louder and softer."""
    edges = np.searchsorted(np.fft.rfftfreq(_SIZE, 1 / source.rate_hz), _EDGES_HZ)
    window = np.hanning(_SIZE)
    powers = []
    for start in range(0, source.frames, BLOCK_FRAMES):
        hops = min(BLOCK_FRAMES, source.frames - start) // HOP
        samples = read_padded(source, start, start + BLOCK_FRAMES + _SIZE).sum(axis=1)
        frames = np.lib.stride_tricks.sliding_window_view(samples, _SIZE)[::HOP][:hops]
        spectrum = np.abs(rfft(frames * window, axis=1)) ** 2
        powers.append(np.add.reduceat(spectrum, edges[:-1], axis=1))
    power = np.concatenate([*powers, np.zeros((0, edges.size - 1))])
    log = np.log(power + _FLOOR * (power.mean(axis=0, keepdims=True) + 1e-30))
    rises = np.diff(log, axis=0, prepend=log[:1])
    return Activity(rises / (np.sqrt(np.mean(rises**2, axis=0, keepdims=True)) + 1e-30))


def locate(needle: Activity, hay: Activity) -> tuple[int, float]:
    """Find where `needle` starts in `hay`.

    Returns
    -------
    lag : int
        Frames of `hay` from its start to the start of `needle` (good to one hop of 256); may be negative.
    score : float
        Height of the correlation peak over the scatter elsewhere; trust it from `MIN_SCORE` on.
    """
    size = next_fast_len(needle.rises.shape[0] + hay.rises.shape[0], real=True)
    spectrum = np.conj(rfft(needle.rises, size, axis=0)) * rfft(hay.rises, size, axis=0)
    correlation = irfft(spectrum.sum(axis=1), size)
    peak = int(np.argmax(correlation))
    score = float(correlation[peak] / (np.std(correlation) + 1e-30))
    lag = peak if peak < hay.rises.shape[0] else peak - size
    return lag * HOP, score
