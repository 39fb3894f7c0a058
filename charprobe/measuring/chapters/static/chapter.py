"""The static chapter: settled level against level, and the threshold, ratio and knee that follow from it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from charprobe.estimators.gain_drift import GainDrift
from charprobe.estimators.static.curve import StaticCurve, in_dbfs
from charprobe.estimators.static.curve_fit import fit_static_curve
from charprobe.estimators.static.level_steps import LevelStepsFit, measure_level_steps
from charprobe.estimators.static.readings import (
    FINER_STEPS,
    StaticReadings,
    local_slopes,
    read_static_curve,
    rising_corners,
)
from charprobe.measuring.chapters.lookup import absent
from charprobe.measuring.chapters.static.axis import InputAxis, input_axis
from charprobe.measuring.chapters.static.closing import closing_of
from charprobe.measuring.chapters.static.detector import AtFrequency, detector_chapter
from charprobe.measuring.chapters.static.slow_store import slow_store_db
from charprobe.measuring.chapters.static.steadiness import (
    drift_of_pairs,
    health_of_drift,
    health_of_rest,
    steadiness,
)
from charprobe.measuring.chapters.static.words import closing_words, health_of, words_on
from charprobe.measuring.health.path.second_path import unseen_path
from charprobe.placing.take import Take
from charprobe.profile.entry import NO_BYPASS, Cell, Chapter, Entry, Table, unmeasured
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.segment import SegmentOf
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.quantity import Quantity, Reading, Unmeasured

NAMES = (
    "static.threshold",
    "static.threshold_1db",
    "static.slope",
    "static.ratio",
    "static.knee_width",
    "static.low_level_gain",
    "static.makeup_gain",
    "static.max_reduction",
    "static.hysteresis",
)
RECIPE = "quick"
MAIN_HZ = 1000.0  # of several frequencies, the one nearest to this stands for the setting


@dataclass(frozen=True)
class MeasuredSteps:
    """One segment of level steps: what came back, on which axis, the curve through it, what drifted."""

    segment: SegmentOf[LevelSteps]
    fit: LevelStepsFit
    axis: InputAxis
    curve: StaticCurve
    drift: GainDrift

    @property
    def nominal_hz(self) -> float:
        """Frequency of the steps as the recipe gives it."""
        return self.segment.tones[0].frequency_hz


def static_chapter(wet: Take, bypass: Take | None) -> tuple[Chapter, StaticCurve | None]:
    """Measure the static curve of a setting from its level steps.

    Parameters
    ----------
    wet, bypass : Take
        Captures of the setting and, if there is one, of the bypass.

    Returns
    -------
    Chapter
    StaticCurve or None
        The curve at the frequency nearest to 1 kHz, which other chapters ask for the gain
        reduction at a level; None if the capture holds no level steps.
    """
    try:
        measured = measure_all_steps(wet, bypass)
    except SegmentTooShortError as error:
        return Chapter(unmeasured(NAMES, str(error), "a recipe with longer level steps")), None
    if not measured:
        return Chapter(quantities=absent(wet, LevelSteps, NAMES, recipe=RECIPE)), None
    main = min(measured, key=lambda one: abs(math.log(one.nominal_hz / MAIN_HZ)))
    readings = read_static_curve(main.curve)
    curves = {"static": static_table([main]), "static_slope": _slope_table(main.curve)}
    others = [one for one in measured if one is not main]
    at = [AtFrequency(one.nominal_hz, one.curve) for one in measured]
    detector = detector_chapter(wet, bypass, main.curve, at)
    if others:
        curves["static_over_frequency"] = static_table(others)
    closing, entries = closing_of(main.curve, main.fit), _entries(main, readings, bypass)
    if closing is not None and readings.lower is None:
        conditions = entries["static.low_level_gain"].conditions
        entries["static.lower_threshold"] = Entry(closing.threshold, f"between two steps; {conditions}")
    chapter = Chapter(
        quantities=entries | dict(detector.quantities),
        curves=curves | dict(detector.curves),
        health=(
            *health_of(main.curve, readings, main.fit, take=wet),
            *health_of_drift(wet, main.drift),
            *health_of_rest(wet, main.curve),
        ),
        words=lambda published: (
            *words_on(main.curve, readings, published),
            *closing_words(closing, published),
            *detector.words(published),
        ),
    )
    return chapter, main.curve


def measure_all_steps(wet: Take, bypass: Take | None) -> list[MeasuredSteps]:
    """Measure every segment of level steps that the capture holds, wholly or in part, in playing order.

    Raises
    ------
    SegmentTooShortError
        If the steps are too short for their frequency.
    """
    measured = []
    for segment in wet.stimulus.of_kind(LevelSteps):
        intact = wet.intact(segment)
        if not intact.tones:
            continue
        fit = measure_level_steps(intact, wet.segment(segment))
        if fit.steps:
            axis = input_axis(wet, bypass, segment)
            moved = drift_of_pairs(wet, fit)
            own_db = moved.std_db if moved.kind else 0.0  # a curve must not bend to follow what drifted
            points = [axis.point(step) for step in fit.steps]
            slow_db = slow_store_db(wet, fit, drift_std_db=own_db)
            points = [replace(point, std_db=math.hypot(point.std_db, own_db, slow_db)) for point in points]
            curve = fit_static_curve(points, axis_std_db=axis.gain_std_db).beside(unseen_path(wet)[0])
            seen = steadiness(wet, fit, axis, curve)
            drift = moved if moved.kind and moved.std_db > seen.std_db else seen
            end_s = wet.capture_time_s(wet.stimulus.segments[-1].span.stop)
            curve = replace(
                curve,
                drift_std_db=drift.std_db,
                take_std_db=math.hypot(drift.std_until_db(end_s), curve.restless_db),
                slow_db=slow_db,
            )
            measured.append(MeasuredSteps(segment, fit, axis, curve, drift))
    return measured


def _entries(main: MeasuredSteps, readings: StaticReadings, bypass: Take | None) -> dict[str, Entry]:
    spec, curve = main.segment.spec, main.curve
    used = (
        f", levels {in_dbfs(curve.lowest_dbfs)} to {in_dbfs(curve.highest_dbfs)}"
        if curve.used[0].size
        else ""
    )
    steps = f"{spec.frequency_hz:g} Hz tone in steps of {spec.step_db:g} dB held {spec.step_s:g} s{used}"
    conditions = f"{steps}; {main.axis.words}"
    compressed = conditions
    if readings.compressed is not None:
        section = readings.compressed
        low, high = max(section.begin, curve.lowest_dbfs), min(section.end, curve.highest_dbfs)
        compressed = f"straight part from {in_dbfs(low)} to {in_dbfs(high)}; {conditions}"
    low_level = _widened(curve.low_level_gain, curve.axis_std_db)
    makeup = low_level
    if bypass is None:
        makeup = Unmeasured("dB", NO_BYPASS, "record the bypass the same way and give it")
    elif _rises_first(curve, readings):
        reason = (
            "the gain rises with level before it is reduced: these steps do not tell which is that at rest"
        )
        makeup = Unmeasured("dB", reason, FINER_STEPS)
    return {
        "static.threshold": Entry(readings.threshold, conditions),
        "static.threshold_1db": Entry(readings.threshold_1db, conditions),
        "static.slope": Entry(readings.slope, compressed),
        "static.ratio": Entry(readings.ratio, compressed),
        "static.knee_width": Entry(readings.knee_width, conditions),
        "static.low_level_gain": Entry(low_level, conditions),
        "static.makeup_gain": Entry(makeup, conditions),
        "static.max_reduction": Entry(readings.max_reduction, conditions),
        "static.hysteresis": Entry(readings.hysteresis, conditions),
        **_extras(readings, conditions),
    }


def _rises_first(curve: StaticCurve, readings: StaticReadings) -> bool:
    """Whether the gain rises with level from a corner below the bend where compression begins."""
    if curve.fit is None or readings.bend is None:
        return False
    begins = curve.fit.corner(readings.bend)[0]
    return any(corner < begins for corner, _ in rising_corners(curve))


def _extras(readings: StaticReadings, conditions: str) -> dict[str, Entry]:
    """Return readings that only some stages have."""
    extras: dict[str, Entry] = {}
    for name, bend in (("second", readings.second), ("lower", readings.lower)):
        if bend is not None:
            extras[f"static.{name}_threshold"] = Entry(bend.threshold, conditions)
            extras[f"static.{name}_slope"] = Entry(bend.slope, conditions)
    if isinstance(readings.saturation, Quantity):
        extras["static.saturation_level"] = Entry(readings.saturation, conditions)
    return extras


def static_table(measured: list[MeasuredSteps]) -> Table:
    """Return the rows of one or more sets of level steps in playing order."""
    rows = [(one.nominal_hz, point) for one in measured for point in one.curve.points]
    columns: dict[str, list[Cell]] = {
        "input_dbfs": [point.input_dbfs for _, point in rows],
        "output_dbfs": [point.output_dbfs for _, point in rows],
        "gain_db": [point.gain_db for _, point in rows],
        "std_db": [
            math.hypot(p.std_db, one.curve.drift_std_db) for one in measured for p in one.curve.points
        ],
        "direction": [point.direction for _, point in rows],
        "settled": [point.settled for _, point in rows],
        "used": [point.used for _, point in rows],
        "frequency_hz": [frequency_hz for frequency_hz, _ in rows],
        "remaining_db": [point.remaining_db for _, point in rows],
        "saturated": [point.saturated for _, point in rows],
    }
    units = {"input_dbfs": "dBFS", "output_dbfs": "dBFS", "frequency_hz": "Hz"}
    units |= dict.fromkeys(("gain_db", "std_db", "remaining_db"), "dB")
    return Table(columns, {name: units.get(name, "") for name in columns})


def _slope_table(curve: StaticCurve) -> Table:
    """Local slope and ratio of the output against the input level; a ratio only where the slope is sure."""
    levels, slopes, stds = local_slopes(curve) if curve.choice is not None else (np.empty(0),) * 3
    ratios: list[Cell] = [
        1 / float(slope) if slope > 2 * std else None for slope, std in zip(slopes, stds, strict=True)
    ]
    columns: dict[str, list[Cell]] = {
        "input_dbfs": levels.tolist(),
        "slope": slopes.tolist(),
        "slope_std": stds.tolist(),
        "ratio": ratios,
    }
    units = {"input_dbfs": "dBFS", "slope": "dB/dB", "slope_std": "dB/dB", "ratio": ":1"}
    return Table(columns, units)


def _widened(reading: Reading, std: float) -> Reading:
    """Add the uncertainty of the input axis to a gain."""
    if isinstance(reading, Unmeasured):
        return reading
    return Quantity.from_std(reading.value, float(np.hypot(reading.std, std)), reading.unit)
