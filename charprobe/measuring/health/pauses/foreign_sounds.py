"""Sounds while nothing is played: notifications, speech, knocks, and noise that comes and goes."""

from __future__ import annotations

import numpy as np

from charprobe.measuring.health.pauses.quiet import pauses
from charprobe.placing.take import Take
from charprobe.placing.track import finite
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.values.arrays import Array
from charprobe.values.running_median import running_median
from charprobe.values.wording import clock_text, number_text

FRAME_S = 0.025
AFTER_S, BEFORE_S = 0.1, 0.05  # left out beside what is played: tails, and what a coder or a gate does ahead
ABOVE_DB = 12.0  # over what the pauses usually hold
RISE_DB = 10.0  # within two frames: tails fall, and noise that comes back with the gain takes its time
LEAST_DBFS = -100.0
LEAST_FRAMES = 10
SWING_DB = 5.0  # steady noise swings by 1 dB
FEWEST_RISES, STEADY_DB = 3, 0.5  # between pauses, and by how much the noise of ten frames scatters


def check_foreign_sounds(take: Take) -> list[Health]:
    """Look for onsets in the pauses of a capture: code ``spur``, with the time of each.

    Where none begins at once, noise that swells and falls is looked for: code ``foreign-noise``.
    """
    found: list[tuple[float, float]] = []
    heard = [_levels(take, *pause) for pause in pauses(take.stimulus)]
    usual = [level for levels, _ in heard for level in levels]
    if not usual:
        return []
    limit = max(float(np.median(usual)) + ABOVE_DB, LEAST_DBFS)
    for levels, times in heard:
        for i in range(2, levels.size):
            if levels[i] > limit and levels[i] - levels[i - 2] > RISE_DB:
                found.append((float(times[i]), float(levels[i:].max())))
                break  # one onset of a pause tells it
    if not found:
        return _unsteady(take)
    return [_begins(take, at_s, level_dbfs) for at_s, level_dbfs in found]


def _begins(take: Take, at_s: float, level_dbfs: float) -> Health:
    message = (
        f"Sound that was not played begins at {clock_text(at_s)} at {number_text(level_dbfs, 0)} dBFS "
        f"({take.label}): a notification, speech, a knock, a loose contact? It may sound under the tones "
        f"too. Silence room and computer, and retake. {ALL_GIVEN}"
    )
    return Health("spur", "warn", message, channel=take.channel, start_s=at_s)


def _unsteady(take: Take) -> list[Health]:
    """Noise that rises and falls again within a pause: no tail, which falls, nor a gain that recovers.

    Nor the stage's own hiss, which pauses usually begin with, until a gate hides it.
    """
    swing_db, at_s = 0.0, 0.0
    heard = [_levels(take, *pause, treble=True) for pause in pauses(take.stimulus)]
    heard = [(levels, times) for levels, times in heard if levels.size >= LEAST_FRAMES]
    usual = float(np.median([levels[0] for levels, _ in heard])) if heard else 0.0
    for levels, times in heard:
        smooth = running_median(levels, width=3, beyond="edge")
        risen = smooth - np.minimum.accumulate(smooth)
        falls = smooth - np.minimum.accumulate(smooth[::-1])[::-1]
        both = np.where(smooth > usual, np.minimum(risen, falls), 0.0)
        if both.max() > swing_db:
            swing_db, at_s = float(both.max()), float(times[int(both.argmax())])
    grown_db = _grown_db([levels for levels, _ in heard])
    if max(swing_db, grown_db) < SWING_DB:
        return []
    how = f"swells by {number_text(swing_db, 0)} dB and falls again within one pause, at {clock_text(at_s)}"
    if grown_db > swing_db:
        how, at_s = f"grows by {number_text(grown_db, 0)} dB from the first pause to the last", 0.0
    message = (
        f"Noise comes and goes: it {how} ({take.label}): music, a fan, traffic, a bad contact, a part that "
        "heats up? It is under the tones, "
        "too, so noise figures and quiet levels are those of a moment. Find its source and retake. "
        f"{ALL_GIVEN}"
    )
    return [Health("foreign-noise", "warn", message, channel=take.channel, start_s=at_s)]


def _grown_db(pauses_db: list[Array]) -> float:
    """By how much the noise at the ends of all pauses grows evenly; 0 where it falls, or steps but once.

    A gain that recovers, or a gate, lowers it behind what was loud.
    """
    ends = np.array([np.median(levels[-LEAST_FRAMES:]) for levels in pauses_db])
    rises = np.diff(ends)
    even = rises.size >= FEWEST_RISES and rises.min() > -STEADY_DB and 2 * rises.max() < rises.sum()
    return float(rises.sum()) if even else 0.0


def _levels(take: Take, start: float, stop: float, *, treble: bool = False) -> tuple[Array, Array]:
    """Level in dBFS and time in the capture of every frame of a pause, or of its treble, free of hum."""
    rate_hz = take.stimulus.rate_hz
    first, last = start + AFTER_S * rate_hz, stop - BEFORE_S * rate_hz
    cut = take.cut(first, last)
    size = round(FRAME_S * rate_hz)
    count = cut.samples.size // size
    samples = finite(cut.samples[: count * size])
    frames = (np.diff(samples, prepend=0.0) if treble else samples).reshape(count, size)
    # without mean and slope: an offset that a stage leaves behind dies away through every coupling
    line = np.linspace(-1.0, 1.0, size) / np.sqrt(size / 3)
    frames = frames - frames.mean(axis=1, keepdims=True) - np.outer(frames @ line, line)
    power = np.mean(frames**2, axis=1)
    times_s = take.capture_time_s(cut.start) + FRAME_S * np.arange(count)
    return np.asarray(10 * np.log10(2 * power + 1e-16)), np.asarray(times_s)
