"""Delay of a processed file against its dry one, window by window, whatever the gain does meanwhile."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from charprobe.files.sound.frames import read_padded
from charprobe.listening.aligning.delay_fit import Guide, Point, fit_delay
from charprobe.values.arrays import Array

WINDOW = 1 << 15
MAX_POINTS = 160
MAX_JUMP = 1 << 15  # frames by which the latency may jump from one window to the next
MIN_SCORE = 12.0  # peak over scatter of a window's correlation; unrelated windows stay below about 8
_WHITENING = 0.6


@dataclass(frozen=True)
class DelayTrack:
    """Delays found along the dry file.

    Attributes
    ----------
    position : ndarray, shape (n,)
        Middle of each window, in dry frames.
    delay : ndarray, shape (n,)
        Frames from the dry sound to the same sound in the processed file, fractional.
    std : ndarray, shape (n,)
        Standard uncertainty of each delay from the window's residual.
    unexplained : ndarray, shape (n,)
        Share of each window's power that no gain and no delay explain.
    polarity : ndarray, shape (n,)
        1 or -1.
    unmatched : float
        Share of the windows with sound in which the processed file holds nothing like the dry one.
    """

    position: Array
    delay: Array
    std: Array
    unexplained: Array
    polarity: Array
    unmatched: float


def window_length(frames: int) -> int:
    """Return the length of one window for this much common sound."""
    return int(np.clip(2 ** int(np.log2(max(frames // 2, 1))), 1024, WINDOW))


def track_delay(guide: Guide, *, lag: int) -> DelayTrack:
    """Follow the delay along the whole file, starting from a rough lag (good to a few hundred frames).

    Windows are tried outwards from the one that matches best, so that a jump is met once, from its near side.
    """
    common = min(guide.dry.frames, guide.processed.frames - lag) - max(0, -lag)
    size = window_length(common)
    count = int(np.clip(2 * common // size - 1, 1, MAX_POINTS))
    starts = max(0, -lag) + np.linspace(0, max(common - size, 0), count).astype(int)
    levels = np.array([np.mean(read_padded(guide.dry, k, k + size) ** 2) for k in starts.tolist()])
    loud = levels > levels.max() * 1e-5
    seeds = sorted(np.flatnonzero(loud), key=lambda k: -levels[k])[:12]
    tried = {
        k: match_window(guide, start=int(starts[k]), size=size, lag=lag, reach=_reach(size)) for k in seeds
    }
    best = max(tried, key=lambda k: tried[k].score)
    found: dict[int, Match] = {}
    for order in (range(best, count), range(best - 1, -1, -1)):
        near = tried[best].lag
        for k in order:
            if loud[k]:
                match = match_window(guide, start=int(starts[k]), size=size, lag=near, reach=_reach(size))
                if match.score >= MIN_SCORE:
                    found[k], near = match, match.lag
    kept = sorted(found)
    flat = np.ones((1, guide.processed.channels))
    points = [
        fit_delay(guide, start=int(starts[k]), size=size, delay=float(found[k].lag), step=1.0, response=flat)
        for k in kept
    ]
    polarity = np.array([found[k].polarity for k in kept])
    return _joined(points, polarity, unmatched=1 - len(kept) / max(int(loud.sum()), 1))


def refine_track(guide: Guide, track: DelayTrack, *, size: int, step: float, response: Array) -> DelayTrack:
    """Refine all delays again, with the clocks' ratio and the dry sound sent through `response` first."""
    points = [
        fit_delay(guide, start=int(middle - size / 2), size=size, delay=delay, step=step, response=response)
        for middle, delay in zip(track.position, track.delay, strict=True)
    ]
    return _joined(points, track.polarity, unmatched=track.unmatched)


def _joined(points: list[Point], polarity: Array, *, unmatched: float) -> DelayTrack:
    columns = np.array([(p.position, p.delay, p.std, p.unexplained) for p in points]).reshape(-1, 4).T
    return DelayTrack(columns[0], columns[1], columns[2], columns[3], polarity, unmatched)


@dataclass(frozen=True)
class Match:
    """Best whole lag of one window, how clearly it stands out, and the sign of the match."""

    lag: int
    score: float
    polarity: int


def _reach(size: int) -> int:
    return min(MAX_JUMP, 4 * size)


def match_window(guide: Guide, *, start: int, size: int, lag: int, reach: int) -> Match:
    """Find a window of the dry file in the processed one, within `reach` frames of `lag`."""
    window = np.hanning(size)[:, None]
    dry = read_padded(guide.dry, start, start + size)[:, guide.dry_channels] * window
    processed = read_padded(guide.processed, start + lag - reach, start + lag + size + reach)
    length = scipy.fft.next_fast_len(size + 2 * reach, real=True)
    cross = (np.conj(scipy.fft.rfft(dry, length, axis=0)) * scipy.fft.rfft(processed, length, axis=0)).sum(
        axis=1
    )
    magnitude = np.abs(cross)
    cross /= (magnitude + 1e-6 * magnitude.max() + 1e-300) ** _WHITENING
    correlation = scipy.fft.irfft(cross, length)[: 2 * reach + 1]
    peak = int(np.argmax(np.abs(correlation)))
    score = float(np.abs(correlation[peak]) / (np.sqrt(np.mean(correlation**2)) + 1e-300))
    return Match(lag - reach + peak, score, 1 if correlation[peak] > 0 else -1)
