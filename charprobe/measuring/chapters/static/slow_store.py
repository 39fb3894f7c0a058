"""Whether a tone comes back at the gain that a level step had: a store slower than both may still move it."""

from __future__ import annotations

import math

import numpy as np

from charprobe.estimators.static.curve import FLOOR_DB
from charprobe.estimators.static.level_steps import LevelStepsFit, Step
from charprobe.measuring.chapters.late_tones import late_halves
from charprobe.placing.take import Take, held
from charprobe.stimulus.kinds.segment import Tone
from charprobe.stimulus.kinds.steady import Tones

SAME_TONE, SAME_LEVEL_DB = 0.01, 1e-4  # share of frequency, and level, within which a tone is that of a step
REDUCED_DB = 0.05  # of gain under that of quiet steps, from which a store can show
APART = 3.0  # standard uncertainties that halves of a tone may differ by, whatever it does
SURE, ALONE = 3.5, 0.5  # the same from which all levels together tell of a store; one alone must tell by more
QUIET = 1 / 3  # share of the steps, at the lowest levels, whose gain is that of rest
MOVES = (
    0.05  # share of the difference by which it may shrink within a tone: else a tone before is not forgotten
)
LEFT = 2.0  # standard uncertainties of what is still to come, over what was seen to have come


def slow_store_db(take: Take, fit: LevelStepsFit, *, drift_std_db: float) -> float:
    """Return what a slow store leaves as standard uncertainty of every reduced level, 0 where none shows.

    Settled steps up that are reduced are compared with tones of their frequency and level, played later. Both
    look settled by themselves: what differs beyond what the gear drifted by, and does not shrink within the
    tone, is a store that fills more slowly than either lasts. All levels together must tell it.
    """
    rising = [step for step in fit.steps if step.direction == "rising" and step.settled]
    if not rising:
        return 0.0
    by_level = sorted(rising, key=lambda step: step.tone.level_dbfs)
    quiet = by_level[: max(1, round(QUIET * len(by_level)))]
    rest_db = float(np.median([_gain_db(step) for step in quiet]))
    tones = [tone for segment in held(take, Tones) for tone in take.intact(segment).tones]
    found = []
    for step in rising:
        if abs(_gain_db(step) - rest_db) < REDUCED_DB:
            continue
        for tone in tones:
            if _same(tone, step) and (moved := _moved(take, fit, step, tone, drift_std_db)) is not None:
                found.append(moved)
    if not found:
        return 0.0
    moved_db, sigmas = np.array(found).T
    together = abs(float(sigmas @ np.sign(moved_db))) / math.sqrt(sigmas.size)
    return LEFT * float(np.abs(moved_db).max()) if max(together, float(sigmas.max()) - ALONE) > SURE else 0.0


def _gain_db(step: Step) -> float:
    return step.level_dbfs - step.tone.level_dbfs


def _same(tone: Tone, step: Step) -> bool:
    near = abs(tone.frequency_hz / step.tone.frequency_hz - 1) < SAME_TONE
    return near and abs(tone.level_dbfs - step.tone.level_dbfs) < SAME_LEVEL_DB


def _moved(
    take: Take, fit: LevelStepsFit, step: Step, tone: Tone, drift_std_db: float
) -> tuple[float, float] | None:
    """Gain of a tone over that of the step, in dB and in standard uncertainties; None where it comes back."""
    halves = late_halves(take, tone, frequency_hz=fit.frequency_hz)
    if halves is None:
        return None
    first, second = halves
    moved_db, within_db = second.value - step.level_dbfs, second.value - first.value
    back_db = -within_db * math.copysign(1.0, moved_db)
    if back_db > MOVES * abs(moved_db) + APART * math.hypot(first.std, second.std):
        return None
    std_db = math.hypot(second.std, step.std_db, FLOOR_DB, drift_std_db)
    return moved_db, abs(moved_db) / std_db
