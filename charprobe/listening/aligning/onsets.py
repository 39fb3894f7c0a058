"""Rough place of one sound in another, from when their bands grow loud: gain and colour do not matter."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import scipy

from charprobe.files.sound.frames import BLOCK_FRAMES, Frames, read_padded
from charprobe.listening.aligning.pair_checks import different
from charprobe.values.arrays import Array

HOP = 256
_SIZE = 512
_EDGES_HZ = (80, 250, 600, 1400, 3200, 7000, 14_000)
_FLOOR = 1e-7  # re the band's mean power: what lies 70 dB below does not count as an onset
NEEDLE_S, THIRDS = 60.0, 3  # length of what is looked for; one such stretch of each third of a file
NEAR_S, SPAN_S = 60.0, 240.0  # how far it is looked for first, and how much of a file at a time then
LARGEST = 4.0  # re its rms: one start out of silence must not outweigh all that follows
MIN_SCORE = 6.0  # peak over scatter of the correlation; unrelated music of one tempo reaches 7.6


def activity(source: Frames, start: int, stop: int) -> Array:
    """Measure when the bands of a source grow louder and softer between two frames.

    The change of the log level of each band from hop to hop; shape (hops, bands), each band of unit power.
    """
    return _activity_of(_band_powers(source, start, stop))


def _activity_of(power: Array) -> Array:
    rises = _rises(power, power.mean(axis=0))
    usual = np.sqrt(np.mean(rises**2, axis=0, keepdims=True)) + 1e-30
    return np.asarray(np.clip(rises / usual, -LARGEST, LARGEST))


def _band_powers(source: Frames, start: int, stop: int) -> Array:
    """Power of each band in each hop; shape (hops, bands)."""
    edges = np.searchsorted(np.fft.rfftfreq(_SIZE, 1 / source.rate_hz), _EDGES_HZ)
    window = np.hanning(_SIZE)
    powers = []
    for first in range(start, stop, BLOCK_FRAMES):
        hops = min(BLOCK_FRAMES, stop - first) // HOP
        samples = read_padded(source, first, first + BLOCK_FRAMES + _SIZE).sum(axis=1)
        frames = np.lib.stride_tricks.sliding_window_view(samples, _SIZE)[::HOP][:hops]
        spectrum = np.abs(scipy.fft.rfft(frames * window, axis=1)) ** 2
        powers.append(np.add.reduceat(spectrum, edges[:-1], axis=1))
    return np.concatenate([*powers, np.zeros((0, edges.size - 1))])


def _rises(power: Array, mean: Array) -> Array:
    """Change of the log level from hop to hop, `_FLOOR` of the mean power being silence."""
    log = np.log(power + _FLOOR * (mean + 1e-30))
    return np.diff(log, axis=0, prepend=log[:1])


def rough_lags(dry: Frames, processed: Frames) -> Iterator[int]:
    """Find where the dry sound may begin in the processed file, likeliest first.

    Gives frames from the dry sound to the same sound in the processed file, good to some hundred: places
    within `NEAR_S` of no shift at all, then those that fit best anywhere. `PairingError` if the onsets of the
    two agree nowhere.

    Eventful minutes of the shorter file, likelier to lie wholly in the other, are sought in the longer one. A
    steady beat agrees with itself at other places too, so the caller tries them in turn.
    """
    sign = 1 if dry.frames <= processed.frames else -1
    short, long = (dry, processed)[::sign]
    length = min(round(NEEDLE_S * short.rate_hz), short.frames)
    needles = _eventful(short, length)
    best_score, told = 0.0, set()
    for search in (_near, _anywhere):
        for start, needle in needles:
            lag, score = search(needle, long, start, length)
            best_score = max(best_score, score)
            if score >= MIN_SCORE and lag not in told:
                told.add(lag)
                yield sign * lag
    if best_score < MIN_SCORE:
        raise different(f"their onsets agree nowhere (score {best_score:.1f}, needed {MIN_SCORE:g})")


def _eventful(source: Frames, length: int) -> list[tuple[int, Array]]:
    """First frame and activity of the most eventful stretch of each third of a file, most eventful first."""
    if source.frames <= length:
        return [(0, activity(source, 0, length))]
    starts = HOP * np.linspace(0, (source.frames - length) // HOP, 4 * THIRDS).astype(int)
    if starts[1] < length:  # they overlap: the whole file is less than all of them
        whole, hops = _band_powers(source, 0, source.frames), length // HOP
        powers = [whole[start // HOP :][:hops] for start in starts]
    else:
        powers = [_band_powers(source, int(start), int(start) + length) for start in starts]
    mean = np.mean([power.mean(axis=0) for power in powers], axis=0)
    events = np.array([np.sum(_rises(power, mean) ** 2) for power in powers]).reshape(THIRDS, -1)
    best = np.argmax(events, axis=1) + events.shape[1] * np.arange(THIRDS)
    return [(int(starts[k]), _activity_of(powers[k])) for k in best[np.argsort(-events.max(axis=1))]]


def _near(needle: Array, hay: Frames, start: int, length: int) -> tuple[int, float]:
    """Lag and score within `NEAR_S` of no shift at all."""
    near = round(NEAR_S * hay.rate_hz)
    first = max(0, start - near)
    lag, score = locate(needle, activity(hay, first, min(hay.frames, start + length + near)))
    return first + lag - start, score


def _anywhere(needle: Array, hay: Frames, start: int, length: int) -> tuple[int, float]:
    """Lag and score of the best place in the whole of a file, a few minutes at a time."""
    span, best = round(SPAN_S * hay.rate_hz), (0, 0.0)
    for first in range(0, hay.frames - HOP + 1, span):  # less than a hop holds no onset
        lag, score = locate(needle, activity(hay, first, min(first + span + length, hay.frames)))
        if score > best[1]:
            best = first + lag - start, score
    return best


def locate(needle: Array, hay: Array) -> tuple[int, float]:
    """Find where `needle` starts in `hay`: its lag, and how far that stands out.

    The lag is in frames of `hay`, good to one hop of 256, and may be negative; the score is the height of the
    correlation peak over the scatter elsewhere: trust it from `MIN_SCORE` on.
    """
    size = scipy.fft.next_fast_len(needle.shape[0] + hay.shape[0], real=True)
    spectrum = np.conj(scipy.fft.rfft(needle, size, axis=0)) * scipy.fft.rfft(hay, size, axis=0)
    correlation = scipy.fft.irfft(spectrum.sum(axis=1), size)
    peak = int(np.argmax(correlation))
    score = float(correlation[peak] / (np.std(correlation) + 1e-30))
    lag = peak if peak < hay.shape[0] else peak - size
    return lag * HOP, score
