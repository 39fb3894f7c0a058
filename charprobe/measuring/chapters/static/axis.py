"""The input axis of a static curve: the level that the bypass shows for each step."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from charprobe.estimators.gain_drift import GainDrift, gain_drift
from charprobe.estimators.static.curve import FLOOR_DB
from charprobe.estimators.static.level_steps import LevelStepsFit, Step, measure_level_steps
from charprobe.estimators.static.points import StaticPoint
from charprobe.measuring.chapters.lookup import counterpart
from charprobe.measuring.chapters.static.references import quiet_tones
from charprobe.measuring.health.path.second_path import unseen_path
from charprobe.placing.take import Take, once
from charprobe.stimulus.kinds.segment import Segment
from charprobe.values.errors import SegmentTooShortError

STRAIGHT_DB, STRAIGHT_STDS = 0.005, 4.0  # a bypass whose gain is one number within this is a plain gain

BETWEEN_CAPTURES_DB = 0.0003  # gear left alone moves by about this from one capture to the next


@dataclass(frozen=True)
class InputAxis:
    """Input level of each step, by its first stimulus sample.

    Attributes
    ----------
    gain_db : float
        Gain of the path: bypass level over stimulus level; 0 without a bypass.
    gain_std_db : float
        Its standard uncertainty, common to all steps.
    own : dict of int to (float, float)
        Where the bypass is not one plain gain: level of each step and its standard uncertainty.
    words : str
        How the axis came about, for the conditions of a reading.
    """

    gain_db: float
    gain_std_db: float
    own: dict[int, tuple[float, float]]
    words: str

    def point(self, step: Step) -> StaticPoint:
        """Place a step of the setting on the axis."""
        level, std = self.own.get(step.tone.start, (step.tone.level_dbfs + self.gain_db, 0.0))
        return StaticPoint(
            level,
            step.level_dbfs,
            float(np.hypot(step.std_db, std)),
            step.direction,
            step.settled,
            step.remaining_db,
            step.odd_share,
        )


def input_axis(wet: Take, bypass: Take | None, segment: Segment) -> InputAxis:
    """Find the input axis for one segment of level steps.

    The bypass is taken as one plain gain, averaged over all its steps, where all agree; else each step
    keeps the level the bypass shows for it. What may sound beside the sound in either capture, too weak
    to be told, is no better known than that.
    """
    same = counterpart(bypass, segment)
    if bypass is None or same is None:
        return InputAxis(0.0, 0.0, {}, "input axis: stimulus level, as there is no bypass")
    fit = _measured(bypass, same)
    if fit is None:
        return InputAxis(0.0, 0.0, {}, "input axis: stimulus level, as the bypass cannot be read")
    moved = segment.span.start - same.span.start
    axis = axis_of(fit.steps, {step.tone.start: step.tone.start + moved for step in fit.steps})
    drift = drift_of_bypass(bypass, fit)
    combed_db = math.hypot(*(20 * math.log10(1 + max(unseen_path(take))) for take in (wet, bypass)))
    return replace(axis, gain_std_db=math.hypot(axis.gain_std_db, drift.std_db, combed_db / math.sqrt(2)))


def drift_of_bypass(bypass: Take, fit: LevelStepsFit) -> GainDrift:
    """Compare the gain of all steps of a bypass and of quiet tones like them: it must stay the same."""
    rows = [
        (bypass.capture_time_s(step.tone.start), step.level_dbfs - step.tone.level_dbfs, step.std_db)
        for step in fit.steps
    ]
    tones = quiet_tones(bypass, frequency_hz=fit.frequency_hz)
    rows += [(tone.time_s, tone.level.value - tone.played_dbfs, tone.level.std) for tone in tones]
    time_s, gain_db, std_db = np.array(rows).T
    return gain_drift(time_s, gain_db, std_db=np.hypot(std_db, FLOOR_DB), group=np.zeros(time_s.size))


def axis_of(steps: Sequence[Step], starts: Mapping[int, int]) -> InputAxis:
    """Make the axis from the steps of a bypass; `starts` maps their first samples to those of the setting."""
    levels = np.array([step.level_dbfs for step in steps])
    stds = np.hypot([step.std_db for step in steps], FLOOR_DB)
    gains = levels - np.array([step.tone.level_dbfs for step in steps])
    weights = stds**-2
    mean = float(np.sum(weights * gains) / weights.sum())
    if np.all(np.abs(gains - mean) < np.maximum(STRAIGHT_DB, STRAIGHT_STDS * stds)):
        words = f"input axis: level of the bypass (path gain {round(mean, 2) + 0.0:+.2f} dB)".replace(
            "-", "−"
        )
        std = math.hypot(float(weights.sum()) ** -0.5, BETWEEN_CAPTURES_DB)
        return InputAxis(mean, std, {}, words)
    own = {
        starts[step.tone.start]: (float(level), float(std))
        for step, level, std in zip(steps, levels, stds, strict=True)
    }
    return InputAxis(mean, BETWEEN_CAPTURES_DB, own, "input axis: level of the bypass, step by step")


@once
def _measured(take: Take, segment: Segment) -> LevelStepsFit | None:
    try:
        fit = measure_level_steps(take.intact(segment), take.segment(segment))
    except SegmentTooShortError:
        return None
    return fit if fit.steps else None
