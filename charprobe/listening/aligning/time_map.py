"""Where each moment of the dry file lies in the processed one: a straight line, with jumps if any."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from charprobe.files.sound.frames import Frames
from charprobe.listening.aligning.delay_track import DelayTrack
from charprobe.listening.aligning.warp import read_at
from charprobe.values.arrays import Array, Flags

PieceNumbers = NDArray[np.intp]
MIN_JUMP = 0.3  # frames; smaller changes of latency are not told from scatter
_UNMODELLED = 0.02  # frames by which all windows may be off alike, were nothing of the sound explained
_ONE_CLOCK = 1e-4  # frames of drift over the whole file that no null could show
_BIN, _STRIDE = 256, 1 << 16  # frames: how finely a jump is placed, and how much is read at once


@dataclass(frozen=True)
class TimeMap:
    """Delay of the processed file: ``offsets[k] + drift * q`` from dry frame ``starts[k]`` on.

    The first start is 0; offsets are in frames, carried back to dry frame 0; the drift is in frames by which
    the processed file runs long per dry frame, 0 on one clock.
    """

    starts: tuple[int, ...]
    offsets: tuple[float, ...]
    drift: float

    def delay_at(self, position: float) -> float:
        """Delay, in frames, at a dry position."""
        piece = int(np.searchsorted(self.starts, position, side="right")) - 1
        return self.offsets[max(piece, 0)] + self.drift * position


@dataclass(frozen=True)
class FittedMap:
    """A time map with the standard uncertainties of its first offset (frames) and drift (ratio).

    `drift_std` is None when the sound is too short to tell.
    """

    map: TimeMap
    offset_std: float
    drift_std: float | None


def fit_map(track: DelayTrack, *, frames: int) -> FittedMap:
    """Fit one drift and as many offsets as there are jumps; stray windows are left out.

    The first dry frame of a piece is set half way between the windows around the jump; see `place_jumps`.
    """
    weight = 1 / np.hypot(track.std, np.median(track.std) + 1e-9)
    if track.position.size < 3:
        best = int(np.argmax(weight))
        offset, std = float(track.delay[best]), float(track.std[best])
        return FittedMap(TimeMap((0,), (_settled(offset, std),), 0.0), std, None)
    piece, kept = _without_strays(track, weight)
    pieces = np.unique(piece[kept])
    position, delay, weight = track.position[kept], track.delay[kept], weight[kept]
    rank = np.searchsorted(pieces, piece[kept])
    offsets, drift, covariance, residual = _least_squares(position, delay, rank, weight)
    unmodelled = _UNMODELLED * float(np.sqrt(np.median(track.unexplained)))
    drift_std = float(np.hypot(np.sqrt(covariance[-1, -1]), 3 * unmodelled / frames))
    offset_std = float(np.hypot(np.sqrt(covariance[0, 0]), unmodelled))
    members = [rank == k for k in range(pieces.size)]
    if abs(drift) < max(3 * drift_std, _ONE_CLOCK / frames) and abs(drift) * frames < 0.05:
        drift = 0.0
        spread = np.sqrt(np.mean(residual**2) / max(int(members[0].sum()), 1))
        offset_std = float(np.hypot(spread, unmodelled))
        means = (np.average(delay[own], weights=weight[own] ** 2) for own in members)
        offsets = np.array([_settled(float(mean), offset_std) for mean in means])
    ends = [(position[own].min(), position[own].max()) for own in members]
    starts = [0, *(int((last + first) / 2) for (_, last), (first, _) in pairwise(ends))]
    whole = TimeMap(tuple(starts), tuple(float(value) for value in offsets), float(drift))
    return FittedMap(whole, offset_std, drift_std)


def _without_strays(track: DelayTrack, weight: Array) -> tuple[PieceNumbers, Flags]:
    """Number the pieces between jumps, and tell which windows lie on one line with their piece."""
    position, delay = track.position, track.delay
    apart = np.diff(position) > 0  # two windows may rest on one and the same loud moment
    slope = float(np.median(np.diff(delay)[apart] / np.diff(position)[apart])) if apart.any() else 0.0
    piece = _pieces(delay - slope * position)
    kept = np.ones(position.size, dtype=bool)
    for _ in range(3):
        offsets, drift, _, _ = _least_squares(position[kept], delay[kept], piece[kept], weight[kept])
        everywhere = np.abs(delay - offsets[piece] - drift * position)
        scatter = 1.4826 * np.median(everywhere[kept])
        kept = everywhere < max(5 * scatter, 1e-4)
        if kept.sum() < 3:
            kept[:] = True
            break
    for k in range(offsets.size - 1, 0, -1):
        if abs(offsets[k] - offsets[k - 1]) < MIN_JUMP:
            piece[piece >= k] -= 1
    return piece, kept


def _settled(delay: float, std: float) -> float:
    """Take a delay that is whole within its uncertainty as whole: nothing needs resampling then."""
    return float(round(delay)) if abs(delay - round(delay)) < 3 * std + 1e-5 else delay


def _pieces(level: Array) -> PieceNumbers:
    """Number the pieces between lasting jumps of a drift-free delay; a lone stray window starts no piece."""
    steps = np.diff(level)
    reach = max(MIN_JUMP, 8 * 1.4826 * float(np.median(np.abs(steps - np.median(steps)))))
    piece = np.zeros(level.size, dtype=np.intp)
    for k in range(1, level.size):
        before = float(np.median(level[max(0, k - 3) : k]))
        after = float(np.median(level[k : k + 3]))
        jumped = abs(steps[k - 1]) > reach and abs(after - before) > reach and abs(level[k] - after) <= reach
        piece[k:] += int(jumped and 1 < k < level.size - 1)
    return piece


def _least_squares(
    position: Array, delay: Array, piece: PieceNumbers, weight: Array
) -> tuple[Array, float, Array, Array]:
    count = int(piece.max()) + 1
    scale = float(np.ptp(position)) or 1.0
    design = np.zeros((position.size, count + 1))
    design[np.arange(position.size), piece] = 1.0
    design[:, -1] = position / scale
    solution, *_ = np.linalg.lstsq(design * weight[:, None], delay * weight, rcond=None)
    residual = delay - design @ solution
    freedom = max(position.size - count - 1, 1)
    normal = np.linalg.pinv((design * weight[:, None]).T @ (design * weight[:, None]))
    covariance = normal * float(np.sum((residual * weight) ** 2)) / freedom
    covariance[-1] /= scale
    covariance[:, -1] /= scale
    return np.asarray(solution[:-1]), float(solution[-1]) / scale, covariance, np.asarray(residual)


@dataclass(frozen=True)
class OnDryClock:
    """The processed file read on the dry file's clock: frame q here belongs to dry frame ``first + q``."""

    processed: Frames
    time_map: TimeMap
    first: int
    frames: int

    @property
    def rate_hz(self) -> int:
        """Sampling rate."""
        return self.processed.rate_hz

    @property
    def channels(self) -> int:
        """Number of channels."""
        return self.processed.channels

    @property
    def resampled(self) -> bool:
        """Whether values between the samples are needed."""
        return self.time_map.drift != 0 or any(not offset.is_integer() for offset in self.time_map.offsets)

    def read_frames(self, start: int, stop: int) -> Array:
        """Frames `start` to `stop`, clipped to what there is; shape (n, channels)."""
        start, stop = max(start, 0), min(max(stop, start, 0), self.frames)
        bounds = [*self.time_map.starts, np.inf]
        parts = [np.zeros((0, self.channels))]
        for k, offset in enumerate(self.time_map.offsets):
            low = max(start, int(bounds[k]) - self.first) if k else start
            high = int(min(stop, bounds[k + 1] - self.first))
            if high > low:
                step = 1 + self.time_map.drift
                first = (low + self.first) * step + offset
                parts.append(read_at(self.processed, first=first, step=step, count=high - low))
        return np.concatenate(parts)


def place_jumps(
    dry: Frames, processed: Frames, *, dry_channels: tuple[int, ...], time_map: TimeMap, reach: int
) -> TimeMap:
    """Move each jump to where the later delay begins to explain the processed sound better.

    `dry_channels` says which dry channel each processed one belongs to; a jump is off by at most `reach`
    frames.
    """
    starts = [0]
    for k in range(1, len(time_map.starts)):
        low = max(starts[-1], time_map.starts[k] - reach)
        high = min(dry.frames, time_map.starts[k] + reach)
        lead, count = [], _BIN
        for start in range(low, high - _BIN + 1, _STRIDE):
            size = min(_STRIDE, (high - start) // _BIN * _BIN)
            x = dry.read_frames(start, start + size)[:, dry_channels].reshape(-1, count, len(dry_channels))
            step = 1 + time_map.drift
            errors = []
            for offset in time_map.offsets[k - 1 : k + 1]:
                y = read_at(processed, first=start * step + offset, step=step, count=size).reshape(x.shape)
                gain = np.sum(x * y, axis=1) / (np.sum(x * x, axis=1) + 1e-12)
                errors.append(np.sum((y - gain[:, None] * x) ** 2, axis=(1, 2)))
            lead.append(errors[0] - errors[1])
        gained = np.concatenate([[0.0], np.cumsum(np.concatenate([*lead, np.zeros(0)]))])
        starts.append(low + int(np.argmin(gained)) * _BIN)
    return TimeMap(tuple(starts), time_map.offsets, time_map.drift)
