"""Whether the gear kept its gain during the take: every level that nothing reduces must come back alike."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from charprobe.estimators.gain_drift import STEADY, GainDrift, gain_drift
from charprobe.estimators.static.curve import FLOOR_DB, StaticCurve
from charprobe.estimators.static.level_steps import LevelStepsFit, Step
from charprobe.measuring.chapters.static.axis import InputAxis
from charprobe.measuring.chapters.static.references import quiet_tones
from charprobe.measuring.health.timeline.steady_gain import tone_gain
from charprobe.placing.take import Take
from charprobe.profile.entry import Health
from charprobe.stimulus.kinds.bursts import PhaseSet
from charprobe.values.wording import clock_text, number_text, signed_text

AT_REST_DB = 0.001  # the curve lies this near its low-level gain where nothing is reduced
QUIETEST, FEWEST_PAIRS = 1 / 3, 3  # share of the levels played twice that is quiet, and levels at least
BELOW_DB = 3.0  # a plateau, from its lowest step on, goes on by so much
APART = 8.0  # standard uncertainties by which a pair must differ from quieter ones
RESTLESS_DB = 0.1  # left to go in most of the quiet steps, from which it is said
TOLD_DB, WARNED_DB = 0.01, 0.05  # changes that are noted, and warned of


def drift_of_pairs(take: Take, fit: LevelStepsFit) -> GainDrift:
    """Compare the quietest levels with themselves, played later: what can be told before there is a curve."""
    pairs: dict[float, list[Step]] = {}
    for step in fit.steps:
        pairs.setdefault(round(step.tone.level_dbfs, 2), []).append(step)
    everywhere = [steps for _, steps in sorted(pairs.items()) if len(steps) > 1]
    of_stage = _of_the_stage(everywhere)
    twice = [steps for steps in everywhere if steps not in of_stage and all(step.settled for step in steps)]
    rows = [
        (take.capture_time_s(step.tone.start), step.level_dbfs, step.std_db, group)
        for group, steps in enumerate(twice[: max(FEWEST_PAIRS, round(QUIETEST * len(twice)))])
        for step in steps
    ]
    seen = _drift(rows)
    fades = abs(seen.size_db) < _fading_db(everywhere)
    return replace(seen, size_db=0.0) if fades else seen  # not told, and as much in doubt


def _fading_db(pairs: Sequence[list[Step]]) -> float:
    """What the quietest pair may differ by as a stage recovers from louder steps; 0 if pairs say nothing.

    The quieter, the farther apart in time, and gear that moved parts those the more; memory fades. As one
    over time, what is left is what a step takes off it, as often as there were steps since the loudest.
    """
    quiet = pairs[: max(FEWEST_PAIRS, round(QUIETEST * len(pairs)))]
    apart = np.array([steps[-1].level_dbfs - steps[0].level_dbfs for steps in quiet])
    fades = apart.size >= FEWEST_PAIRS and np.ptp(np.sign(apart)) == 0 and np.all(np.diff(np.abs(apart)) > 0)
    return float(np.ptp(apart)) / (apart.size - 1) * len(pairs) if fades else 0.0


def _of_the_stage(pairs: Sequence[list[Step]]) -> list[list[Step]]:
    """Pairs that differ though every quieter pair, which lies around them in time, agrees: a hysteresis.

    Steps rise and fall again, so what the gear did between two steps of one level lies between those of all
    quieter ones, too.
    """
    found, agree_db, agree_std = [], 0.0, np.inf
    for steps in pairs:
        apart = steps[-1].level_dbfs - steps[0].level_dbfs
        std = float(np.hypot(FLOOR_DB, max(np.hypot(step.std_db, step.remaining_db) for step in steps)))
        if abs(apart - agree_db) > APART * np.hypot(std, agree_std) and abs(apart) > abs(agree_db):
            found.append(steps)
        elif std < agree_std:
            agree_db, agree_std = apart, std
    return found


def steadiness(take: Take, fit: LevelStepsFit, axis: InputAxis, curve: StaticCurve) -> GainDrift:
    """Compare the gain of all settled steps that the stage leaves at rest, and of quiet tones like them.

    Without a flat section only its quietest levels tell anything. Where those are too few, the lowest plateau
    of a curve that no model holds does, or else bursts that are played again: what bends a little or
    remembers moves them, too, so nothing is told of it, but levels are known no better.
    """
    if curve.fit is not None and curve.flat_section is not None:
        seen = _at_rest_throughout(take, fit, axis, curve)
    else:
        seen = drift_of_pairs(take, fit)
        if seen is STEADY and curve.plateau_dbfs is not None:
            seen = _only_doubt(_at_rest_throughout(take, fit, axis, curve))
    return _only_doubt(drift_of_bursts(take)) if seen is STEADY else seen


def _at_rest_throughout(take: Take, fit: LevelStepsFit, axis: InputAxis, curve: StaticCurve) -> GainDrift:
    rows = [
        (take.capture_time_s(step.tone.start), point.gain_db, point.std_db, round(step.tone.level_dbfs, 1))
        for step, point in zip(fit.steps, curve.points, strict=True)
        if point.used and point.settled and _at_rest(curve, point.input_dbfs)
    ]
    end_s = take.capture_time_s(fit.steps[-1].tone.start)
    came_back = rows[-1:] and rows[-1][0] == end_s  # else loud steps may still move what is heard after them
    steps = len(rows)
    for tone in quiet_tones(take, frequency_hz=fit.frequency_hz):
        level = tone.played_dbfs + axis.gain_db
        if not axis.own and level <= curve.highest_dbfs and _at_rest(curve, level):
            gain_db = tone.level.value - level
            rows.append((tone.time_s, gain_db, tone.level.std, round(tone.played_dbfs, 1)))
    if not steps:
        return STEADY
    time_s, gain_db, std_db, level_dbfs = np.array(rows).T
    stepped, of_step = np.unique(level_dbfs[:steps], return_inverse=True)
    bent_db = np.bincount(of_step, gain_db[:steps]) / np.bincount(of_step)
    group = np.argmin(np.abs(level_dbfs[:, None] - stepped), axis=1)
    seen = _drift(np.stack([time_s, gain_db, std_db, np.zeros(len(rows))], axis=1))
    early = time_s <= seen.before_s
    own_db = gain_db - np.interp(level_dbfs, stepped, bent_db)
    both = [
        own_db[~early & (group == one)].mean() - own_db[early & (group == one)].mean()
        for one in np.intersect1d(group[early], group[~early])
    ]
    if len(rows) - stepped.size >= FEWEST_PAIRS:  # what comes back tells what moves in time from a bend
        paired = _drift(np.stack([time_s, own_db, std_db, group], axis=1))
        denied = both and 2 * abs(np.mean(both)) < abs(seen.size_db)
        seen = paired if (denied if seen.kind == "step" else paired.std_db < seen.std_db) else seen
    bends = not both and seen.kind == "step" and gain_db[early].max() < gain_db[~early].min()
    return _only_doubt(seen) if bends or not (came_back or seen.after_s <= end_s) else seen


def _only_doubt(seen: GainDrift) -> GainDrift:
    return seen if seen is STEADY else replace(seen, kind=None, size_db=0.0)


def drift_of_bursts(take: Take) -> GainDrift:
    """Compare the late gain of bursts with that of the next ones: on its way or not, it has the same history.

    The first burst of a set has another.
    """
    rows = []
    for segment in take.stimulus.segments:
        if not isinstance(segment.spec, PhaseSet) or not take.holds(segment):
            continue
        tones, places = take.intact(segment).tones, Counter[int]()
        for tone in tones:
            group = places[tone.group]
            places[tone.group] += 1
            if tone.group != tones[0].group and group and (gain := tone_gain(take, tone)) is not None:
                rows.append((gain.time_s, gain.gain_db, gain.std_db, segment.span.start + group))
    return _drift(rows)


def _drift(rows: ArrayLike) -> GainDrift:
    time_s, gain_db, std_db, group = np.array(rows, dtype=float).reshape(-1, 4).T
    return gain_drift(time_s, gain_db, std_db=np.hypot(std_db, FLOOR_DB), group=group)


def health_of_drift(take: Take, drift: GainDrift) -> tuple[Health, ...]:
    """Tell a step or drift that matters: codes ``gain-step`` and ``level-drift``."""
    if drift.kind is None or abs(drift.size_db) < TOLD_DB:
        return ()
    before, after = clock_text(drift.before_s), clock_text(drift.after_s)
    message = (
        f"Quiet tones that the stage leaves alone {drift.kind} by {signed_text(drift.size_db, 3)} dB between "
        f"{before} and {after} ({take.label}): a knob was touched, the gear was warming up, or the stage "
        "itself changes with time. Intervals of levels, make-up, threshold and hysteresis reach over it. If "
        "the gear may rest and warm up first, do so and retake"
    )
    return (
        Health(
            "gain-step" if drift.kind == "step" else "level-drift",
            "warn" if abs(drift.size_db) >= WARNED_DB else "note",
            message, channel=take.channel, start_s=drift.before_s, end_s=drift.after_s,
        ),
    )  # fmt: skip


def health_of_rest(take: Take, curve: StaticCurve) -> tuple[Health, ...]:
    """Tell a stage that quiet sound brings to no rest: code ``history-dependent``."""
    if curve.restless_db < RESTLESS_DB:
        return ()
    message = (
        f"Quiet level steps, too, had {number_text(curve.restless_db, 1)} dB to go ({take.label}): the gain "
        "follows something slower than a step is long. Gains, times and the response are those of what was "
        "played before. Use a recipe with longer steps and gaps, such as static and timing. All is given, "
        "marked"
    )
    return (Health("history-dependent", "warn", message, channel=take.channel),)


def _at_rest(curve: StaticCurve, input_dbfs: float) -> bool:
    if curve.plateau_dbfs is not None:
        lowest, highest = curve.plateau_dbfs
        return lowest - BELOW_DB <= input_dbfs <= highest
    section, fit = curve.flat_section, curve.fit
    if fit is None or section is None or input_dbfs < section.begin:
        return False
    return abs(float(fit.gain(np.array([input_dbfs]))[0] - fit.parameters[0])) < AT_REST_DB
