"""Where segments lie in a capture, to about 10 ms, by the pattern of their levels over time and frequency."""

from __future__ import annotations

import hashlib
from functools import lru_cache

import numpy as np

from charprobe.files.sound.source import Source
from charprobe.placing.marker_search import blocks
from charprobe.stimulus.kinds.segment import Segment
from charprobe.values.arrays import Array
from charprobe.values.cache_folder import keep_bytes, kept_bytes
from charprobe.values.hann import hann

HOP_S = 0.01
WINDOW_HOPS = 4
LOWEST_HZ, HIGHEST_HZ, BANDS = 60.0, 16_000.0, 16
FLOOR_DBFS = -70.0  # levels below count as silence
LEAD_HOPS = 10  # of silence in front of a segment that belong to its pattern
BLOCK_ROWS = 200
CACHED_ROWS = 16  # transformed at a time: what a processor keeps at hand
FEW_PLACES = 20
GLANCE_HOPS = 10  # from row to row of a first look
KEPT_FROM_S, MOST_KEPT = 1.0, 400  # segments whose glance is kept from run to run


def hop_samples(rate_hz: float) -> int:
    """Samples from one row of levels to the next."""
    return round(HOP_S * rate_hz)


def band_levels(
    source: Source, channel: int, *, start: int, stop: int, gain_db: float, every: int = 1
) -> Array:
    """Levels of bands in dB above `FLOOR_DBFS`, every `HOP_S` from `start` on.

    Parameters
    ----------
    source, channel
        The capture and its channel.
    start, stop : int
        Capture samples; what lies outside the file counts as silence.
    gain_db : float
        Gain of the capture, taken off first.
    every : int
        Hops from one row to the next.

    Returns
    -------
    ndarray, shape (hops, BANDS)
        0 and more; row i is centred on ``start + (i * every + WINDOW_HOPS / 2) * HOP_S * rate``.
    """
    hop = hop_samples(source.rate_hz)
    size = (BLOCK_ROWS * every + WINDOW_HOPS - 1) * hop
    overlap = size - BLOCK_ROWS * every * hop
    rows = [
        _levels(block, rate_hz=source.rate_hz, gain_db=gain_db, every=every)
        for _, block in blocks(source, channel, start=start, stop=stop, size=size, overlap=overlap)
    ]
    missing = max(0, -start) // (hop * every)
    return np.concatenate([np.zeros((missing, BANDS)), *rows]) if rows else np.zeros((missing, BANDS))


@lru_cache(maxsize=64)
def segment_levels(segment: Segment, *, rate_hz: int) -> Array:
    """Levels of one segment as rendered, with `LEAD_HOPS` of silence in front and behind; not to be changed.

    Kept, because a session looks for the same segments in every capture: 13 kB for a second of stimulus.
    """
    return _rendered(segment, rate_hz, every=1)


@lru_cache(maxsize=64)
def segment_glance(segment: Segment, *, rate_hz: int) -> Array:
    """The same in every `GLANCE_HOPS`-th row, for a first look: that of a long one is kept from run to run.

    What the user's cache holds is looked at and no more: a capture that does not match it is compared with
    what is rendered.
    """
    hop = hop_samples(rate_hz)
    count = segment.span.length + 2 * LEAD_HOPS * hop
    rows = max(0, (count - WINDOW_HOPS * hop) // (GLANCE_HOPS * hop) + 1)
    told = f"{segment!r} at {rate_hz}, rows of {GLANCE_HOPS * HOP_S} s"
    name = hashlib.sha256(told.encode()).hexdigest() + ".levels"
    long = count >= KEPT_FROM_S * rate_hz
    kept = kept_bytes(name) if long else b""
    if len(kept) == 8 * rows * BANDS and np.all(np.isfinite(known := np.frombuffer(kept))):
        return known.reshape(rows, BANDS)
    levels = _rendered(segment, rate_hz, every=GLANCE_HOPS)
    if long:
        keep_bytes(name, levels.tobytes(), most=MOST_KEPT)
    return levels


def _rendered(segment: Segment, rate_hz: int, *, every: int) -> Array:
    sound = np.pad(segment.render(rate_hz=rate_hz), LEAD_HOPS * hop_samples(rate_hz))
    levels = _levels(sound, rate_hz=rate_hz, gain_db=0.0, every=every)
    levels.flags.writeable = False
    return levels


def matches(pattern: Array, levels: Array) -> Array:
    """Correlation, -1 to 1, of a pattern with levels at every row the whole pattern fits in from."""
    rows = pattern.shape[0]
    places = levels.shape[0] - rows + 1
    if places < 1:
        return np.zeros(0)
    wanted = pattern - pattern.mean()
    if places <= FEW_PLACES:  # then sums cost less than transforms
        product = np.array([np.vdot(wanted, levels[i : i + rows]) for i in range(places)])
    else:
        size = 1 << int(np.ceil(np.log2(levels.shape[0] + rows)))
        spectrum = np.fft.rfft(levels, size, axis=0) * np.fft.rfft(wanted, size, axis=0).conj()
        product = np.fft.irfft(spectrum.sum(axis=1), size)[:places]
    sums = np.concatenate([[0.0], np.cumsum(levels.sum(axis=1))])
    squares = np.concatenate([[0.0], np.cumsum((levels**2).sum(axis=1))])
    mean = (sums[rows:] - sums[:-rows]) / (rows * BANDS)
    energy = (squares[rows:] - squares[:-rows]) - rows * BANDS * mean**2
    return np.asarray(product / np.sqrt(np.maximum(energy, 1.0) * max(float(np.sum(wanted**2)), 1.0)))


def _levels(samples: Array, *, rate_hz: int, gain_db: float, every: int) -> Array:
    hop = hop_samples(rate_hz)
    size = WINDOW_HOPS * hop
    if samples.size < size:
        return np.zeros((0, BANDS))
    frames = np.lib.stride_tricks.sliding_window_view(samples, size)[:: hop * every]
    window = hann(size)
    edges_hz = np.geomspace(LOWEST_HZ, HIGHEST_HZ, BANDS + 1)
    edges = np.searchsorted(np.fft.rfftfreq(size, 1 / rate_hz), edges_hz)
    in_band = np.empty((frames.shape[0], BANDS))
    for row in range(0, frames.shape[0], CACHED_ROWS):
        spectrum = np.fft.rfft(frames[row : row + CACHED_ROWS] * window)[:, edges[0] : edges[-1]]
        power = spectrum.real**2 + spectrum.imag**2
        in_band[row : row + CACHED_ROWS] = np.add.reduceat(power, edges[:-1] - edges[0], axis=1)
    in_band *= (2 / np.sum(window)) ** 2
    level_dbfs = 10 * np.log10(np.maximum(in_band, 1e-30)) - gain_db
    return np.maximum(level_dbfs - FLOOR_DBFS, 0.0)
