"""What a static curve says: threshold, slope, ratio, knee and the rest, or why they cannot be told."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from charprobe.estimators.static.bends import BendsFit, StraightSection
from charprobe.estimators.static.curve import HIGHER_STEPS, LEVEL_DB, MORE_STEPS, StaticCurve, in_dbfs
from charprobe.estimators.static.knee_width import knee_width
from charprobe.estimators.static.one_db import threshold_1db
from charprobe.estimators.static.passes import hysteresis
from charprobe.estimators.static.points import BENT_SHARE, bent_db, find_saturation
from charprobe.values.arrays import Array
from charprobe.values.quantity import Z95, Quantity, Reading, Unmeasured

NONE_DB = 0.05  # a gain that changes by less has no bend worth a threshold
FLAT_SLOPE = 0.01  # a section whose gain changes by less per dB counts as flat
BEYOND = 2  # levels in use that must lie beyond the knee for its far side to be known
LOCAL = "read the local slopes of the static curve instead"
FINER_STEPS = "a recipe with finer level steps, such as the one that charprobe stimulus --for designs"
OVER = 0.005  # a slope farther below zero than this is over-compression, not a limiter
RATIOS_APART = 1.3  # a second bend is named where it makes the ratio this many times larger or smaller
STRAIGHT_STDS, STRAIGHT_SLOPE = 4.0, 0.002  # a slope between two steps that differs by more shows a bend
BEGUN = 4  # steps below a corner, both passes, of which most must show why the gain falls there
STRAIGHT_ENOUGH = 0.03  # slopes within this of each other, as of a limiter, are one


@dataclass(frozen=True)
class BendReadings:
    """Another bend: where it lies on the input axis (dBFS), and the slope of the output beyond it."""

    threshold: Reading
    slope: Reading


@dataclass(frozen=True)
class StaticReadings:
    """The readings of one static curve.

    Attributes
    ----------
    threshold, threshold_1db, slope, ratio, knee_width, max_reduction, hysteresis : Reading
        As published; levels in dBFS on the input axis, its own uncertainty included.
    saturation : Reading
        Input level from which waveshaping flattens the output.
    second, lower : BendReadings or None
        The next bend above the threshold, and the one below the flat section, where there is one.
    dead_below_dbfs : float or None
        Corner below which gain is lost to distortion, as crossover and the play of a core lose it.
    bend : int or None
        Which bend of the fit is the threshold's.
    compressed : StraightSection or None
        The straight section above it, whose slope is published.
    """

    threshold: Reading
    threshold_1db: Reading
    slope: Reading
    ratio: Reading
    knee_width: Reading
    max_reduction: Reading
    hysteresis: Reading
    saturation: Reading
    second: BendReadings | None
    lower: BendReadings | None
    dead_below_dbfs: float | None
    bend: int | None
    compressed: StraightSection | None


def read_static_curve(curve: StaticCurve) -> StaticReadings:
    """Read everything a static curve can say.

    Parameters
    ----------
    curve : StaticCurve
        As fitted.

    Notes
    -----
    Slope intervals come from the fit's covariance; the ratio is one over slope and interval ends,
    converted last.
    """
    bend, section = _compression(curve)
    second = _second(curve, section)
    slope = _slope(curve, section)
    if second is None:
        slope = _to_the_top(curve, slope, section)
    threshold, knee = _threshold(curve, bend, section), _knee_width(curve, bend, section)
    if bend is not None and isinstance(slope, Unmeasured) and slope.cause is None:  # no part for a tangent
        threshold = slope.as_of("dBFS") if isinstance(threshold, Quantity) else threshold
        knee = slope.as_of("dB") if isinstance(knee, Quantity) else knee
    bent = bend is not None and isinstance(knee, Unmeasured) and knee.cause is None
    return StaticReadings(
        threshold,
        threshold_1db(curve, bent=bent),
        slope,
        ratio_of(slope),
        knee,
        _max_reduction(curve),
        hysteresis(curve),
        _saturation(curve),
        second,
        _lower(curve),
        _dead_below(curve),
        bend,
        section,
    )


def rising_corners(curve: StaticCurve) -> Iterator[tuple[float, float]]:
    """Corners above which the gain rises with level, and by how many dB per dB."""
    fit = curve.fit
    if fit is None:
        return
    for bend, facing in enumerate(fit.shape.facing):
        above = fit.sections[bend + 1]
        if facing > 0 and above.slope > max(FLAT_SLOPE, Z95 * above.std) and _tilts_db(curve, above) > 0:
            yield fit.corner(bend)[0], above.slope


def ratio_of(slope: Reading) -> Reading:
    """Convert a slope to a ratio; a slope whose interval reaches zero gives a bound."""
    unit = ":1"
    if isinstance(slope, Unmeasured):
        bound = None if not slope.at_most else 1 / slope.at_most
        return slope.as_of(unit, at_least=bound)
    if slope.high < -OVER:
        reason = "the output falls as the input rises: no ratio describes that, the slope does"
        return Unmeasured(unit, reason, "read static.slope instead")
    if slope.low <= 0:
        reason = "the slope cannot be told from zero: a limiter"
        return Unmeasured(unit, reason, "read static.slope instead", at_least=1 / max(slope.high, -slope.low))
    return Quantity(1 / slope.value, 1 / slope.high, 1 / slope.low, unit)


def local_slopes(curve: StaticCurve) -> tuple[Array, Array, Array]:
    """Return input levels, slopes of the output there (dB/dB) and their standard uncertainties.

    Central differences of the gain averaged over directions at each level; two levels fewer than were played.
    """
    levels, mean, std = curve.means
    span = levels[2:] - levels[:-2]
    slope = 1 + (mean[2:] - mean[:-2]) / span
    return levels[1:-1], slope, np.hypot(std[2:], std[:-2]) / span


def _compression(curve: StaticCurve) -> tuple[int | None, StraightSection | None]:
    """Find the bend where compression begins and the straight section above it.

    Where the lowest steps lie on a straight section of their own, compression begins below them.
    """
    fit = curve.fit
    if fit is None:
        return None, None
    below = fit.sections[0]
    slope = _straight(curve, below) if fit.shape.sloped and _falls(curve, below) else None
    if isinstance(slope, Quantity) and slope.high < 1 - FLAT_SLOPE:
        return None, below
    for bend, facing in enumerate(fit.shape.facing):
        if facing > 0 and fit.corner(bend)[2] < 0 and _falls(curve, fit.sections[bend + 1]):
            return bend, _shown_above(curve, fit, bend)
    sloped = [s for s in fit.sections if s.slope < -max(FLAT_SLOPE, 3 * s.std)]
    return None, (sloped[-1] if sloped and fit.shape.sloped else None)


def _shown_above(curve: StaticCurve, fit: BendsFit, bend: int) -> StraightSection:
    """The straight section above a bend; one without steps is but the knee of a steeper one that has them."""
    section, *above = fit.sections[bend + 1 :]
    steeper = above[:1] if above and above[0].slope < section.slope else []
    level = curve.means[0]
    shown = (s for s in (section, *steeper) if np.sum((level >= s.begin) & (level <= s.end)) > BEYOND)
    return next(shown, section)


def _knee(fit: BendsFit, bend: int, section: StraightSection) -> range:
    """Bends from the one where compression begins up to its straight section."""
    return range(bend, fit.sections.index(section))


def _falls(curve: StaticCurve, section: StraightSection) -> bool:
    """Whether a section falls by more than what levels may be off by would tilt a flat one."""
    return _tilts_db(curve, section) < 0


def _tilts_db(curve: StaticCurve, section: StraightSection) -> float:
    """How far a section rises among the steps; 0 where what levels may be off by would tilt a flat one so."""
    span_db = min(section.end, curve.highest_dbfs) - max(section.begin, curve.lowest_dbfs)
    rise_db = section.slope * max(span_db, LEVEL_DB)
    return rise_db if abs(rise_db) > Z95 * curve.common_std_db else 0.0


def _second(curve: StaticCurve, section: StraightSection | None) -> BendReadings | None:
    """Read the bend above the section of the ratio, if that changes there by more than `RATIOS_APART`."""
    fit = curve.fit
    bend = 0 if fit is None or section is None else fit.sections.index(section)
    if fit is None or section is None or bend >= len(fit.shape.facing):
        return None
    above = fit.sections[bend + 1]
    before, after = 1 + section.slope, 1 + above.slope
    if not (before > max(RATIOS_APART * after, 0.0) or after > max(RATIOS_APART * before, 0.0)):
        return None
    return BendReadings(_corner(curve, fit, range(bend, bend + 1)), _straight(curve, above))


def _lower(curve: StaticCurve) -> BendReadings | None:
    """Read the bend next below the flat section, if there is one."""
    fit = curve.fit
    if fit is None or not fit.shape.lower:
        return None
    below = fit.sections[fit.shape.lower - 1]
    slope: Reading = Quantity.from_std(1 + below.slope, below.std, "dB/dB")
    if math.isfinite(below.begin):  # between the bend and a floor, both hang on the few steps that lie there
        slope = _straight(curve, below)
    corner = _corner(curve, fit, range(fit.shape.lower - 1, fit.shape.lower))
    if isinstance(slope, Quantity):
        return BendReadings(corner, slope)
    level, gain, _ = curve.used  # a tangent needs a straight part
    unmoved = level[(level > corner.value) & (np.abs(gain - fit.parameters[0]) < NONE_DB)]
    reason = "too few level steps lie on the straight part below the bend to tell its slope"
    missing = replace(slope, reason=reason, next=FINER_STEPS)
    return BendReadings(
        missing.as_of("dBFS", at_most=float(unmoved.min(initial=curve.highest_dbfs))), missing
    )


def _dead_below(curve: StaticCurve) -> float | None:
    """Corner below the flat section under which third harmonic explains what is lost; None without one."""
    fit = curve.fit
    if fit is None or not fit.shape.lower:
        return None
    corner, flat_db = fit.corner(fit.shape.lower - 1)[0], fit.parameters[0]
    below = [p for p in curve.points if p.used and p.input_dbfs < corner and p.gain_db < flat_db - NONE_DB]
    begun = sorted(below, key=lambda point: -point.input_dbfs)[:BEGUN]  # within a play, what is lost is even
    bent = bent_db(np.array([point.odd_share for point in begun]))
    lost = flat_db - np.array([point.gain_db for point in begun])
    return corner if begun and float(np.median(bent / lost)) > BENT_SHARE else None


def _corner(curve: StaticCurve, fit: BendsFit, knee: range) -> Quantity:
    """Where the tangents below and above some bends in a row meet."""
    first = np.array([fit.shape.first(bend) for bend in knee])
    corners, changes = fit.parameters[first], fit.parameters[first + 2]
    change = float(changes.sum())
    value = float(corners @ changes) / change
    weights = np.zeros((1, fit.shape.size))
    weights[0, first], weights[0, first + 2] = changes / change, (corners - value) / change
    moved = curve.common_std_db / max(abs(change), 1e-3)
    std = math.hypot(float(fit.spread(weights)[0]), curve.axis_std_db, moved)
    return Quantity.from_std(value, std, "dBFS")


def _not_compressing(curve: StaticCurve, unit: str, at_least: float | None = None) -> Unmeasured:
    if curve.choice is None:
        return curve.too_few.as_of(unit)
    if curve.fit is None:
        misfit = curve.choice.misfit_db
        reason = f"no curve of straight lines and knees holds: the best misses the steps by {misfit:.2f} dB"
        return Unmeasured(unit, reason, LOCAL)
    reason = f"no reduction begins below {in_dbfs(curve.highest_dbfs)}"
    return curve.asked_above(Unmeasured(unit, reason, HIGHER_STEPS, at_least=at_least, cause="low-levels"))


def _ends_inside(curve: StaticCurve, fit: BendsFit, bend: int) -> bool:
    """Whether the far side of a knee is shown by at least `BEYOND` levels, with some certainty."""
    first = fit.shape.first(bend)
    weights = np.zeros((1, fit.shape.size))
    weights[0, first : first + 2] = 1.0, 0.5
    end = fit.reach(bend)[1] + Z95 * float(fit.spread(weights)[0])
    levels = np.unique(np.round(curve.used[0], 1))
    return int(np.sum(levels > end)) >= BEYOND


def _unfinished(curve: StaticCurve, unit: str) -> Unmeasured:
    reason = f"the knee is still bending at the highest step in use, {in_dbfs(curve.highest_dbfs)}"
    return curve.asked_above(Unmeasured(unit, reason, HIGHER_STEPS, cause="low-levels"))


def _threshold(curve: StaticCurve, bend: int | None, section: StraightSection | None) -> Reading:
    fit, unit = curve.fit, "dBFS"
    if fit is not None and section is not None and curve.flat_section is None:
        low = curve.low_level_gain
        assert isinstance(low, Unmeasured)
        # the slope shows between the two lowest steps; a wide knee may have its corner above
        bound = curve.next_lowest_dbfs if fit.shape.sloped and _falls(curve, fit.sections[0]) else None
        return low.as_of(unit, at_most=bound)
    if fit is None or bend is None or section is None:
        return _not_compressing(curve, unit, curve.highest_dbfs if curve.choice is not None else None)
    knee = _knee(fit, bend, section)
    return _corner(curve, fit, knee) if _ends_inside(curve, fit, knee[-1]) else _unfinished(curve, unit)


def _slope(curve: StaticCurve, section: StraightSection | None) -> Reading:
    fit, unit = curve.fit, "dB/dB"
    if fit is None or section is None:
        return _not_compressing(curve, unit)
    bend = fit.sections.index(section) - 1
    if bend >= 0 and not _ends_inside(curve, fit, bend):
        _, slopes, stds = local_slopes(curve)
        missing = _unfinished(curve, unit)
        return missing.as_of(unit, at_most=float(slopes[-1] + Z95 * stds[-1]))
    return _straight(curve, section)


def _straight(curve: StaticCurve, section: StraightSection) -> Reading:
    """Slope of a straight section; its interval reaches to all slopes that show between its steps."""
    unit = "dB/dB"
    level, mean, std = curve.means
    inside = (level >= section.begin) & (level <= section.end)  # a step on a knee is no part of it
    level, mean, std = level[inside], mean[inside], std[inside]
    if level.size < BEYOND + bool(np.isfinite(section.end)):
        end = in_dbfs(min(section.end, curve.highest_dbfs))
        reason = f"no straight part: the slope goes on changing up to {end}"
        return Unmeasured(unit, reason, LOCAL)
    moved = curve.common_std_db / float(level[-1] - level[0])
    slope = Quantity.from_std(1 + section.slope, math.hypot(section.std, moved), unit)
    chords, reach = 1 + np.diff(mean) / np.diff(level), np.hypot(std[1:], std[:-1]) / np.diff(level)
    bent = np.abs(chords - slope.value) > STRAIGHT_STDS * np.hypot(reach, section.std) + STRAIGHT_SLOPE
    if not bent.any():
        return slope
    low, high = min(slope.low, float(chords[bent].min())), max(slope.high, float(chords[bent].max()))
    if high > RATIOS_APART * max(low, 0.0) and high - low > STRAIGHT_ENOUGH:
        reason = (
            f"no straight part: between {in_dbfs(level[0])} and {in_dbfs(level[-1])} the slope runs from "
            f"{low:.2f} to {high:.2f} dB/dB"
        )
        return Unmeasured(unit, reason, LOCAL)
    return Quantity(slope.value, low, high, unit)


def _to_the_top(curve: StaticCurve, slope: Reading, section: StraightSection | None) -> Reading:
    """Let the interval of a slope reach to those beyond a later bend, which is too slight to be named."""
    if section is None or isinstance(slope, Unmeasured):
        return slope
    whole = _straight(curve, replace(section, end=math.inf))
    return whole if isinstance(whole, Quantity) else slope


def _knee_width(curve: StaticCurve, bend: int | None, section: StraightSection | None) -> Reading:
    fit, unit = curve.fit, "dB"
    if fit is None or section is None:
        return _not_compressing(curve, unit)
    if bend is None:
        low = curve.low_level_gain
        assert isinstance(low, Unmeasured)  # a slope without a bend: no flat part was seen
        return low.as_of(unit)
    knee = _knee(fit, bend, section)
    if not _ends_inside(curve, fit, knee[-1]):
        return _unfinished(curve, unit)
    if len(knee) > 1:
        begin, end = fit.reach(knee[0])[0], fit.reach(knee[-1])[1]
        reason = f"its knee is no parabola: it bends from {in_dbfs(begin)} to {in_dbfs(end)}"
        return Unmeasured(unit, reason, LOCAL)
    return knee_width(curve, fit, bend)


def _max_reduction(curve: StaticCurve) -> Reading:
    low, unit = curve.low_level_gain, "dB"
    if isinstance(low, Unmeasured):
        return low.as_of(unit)
    if curve.choice is None:
        return _not_compressing(curve, unit)
    above = curve.means[0] > (curve.flat_section.begin if curve.flat_section is not None else -np.inf)
    level, gain, std = (column[above] for column in curve.means)
    at = int(np.argmin(gain))
    reading = curve.reduction_at(float(level[at]))
    own = math.hypot(low.std, float(std[at]), curve.common_std_db, curve.axis_std_db)
    if isinstance(reading, Quantity) and own < reading.std:  # a curve that misses the step tells it worse
        reading = Quantity.from_std(low.value - float(gain[at]), own, unit)
    if curve.unknown_above:
        reason = f"no step above {in_dbfs(curve.highest_dbfs)} had settled"
        least = max(0.0, reading.low) if isinstance(reading, Quantity) else 0.0
        return Unmeasured(unit, reason, MORE_STEPS, at_least=least, cause="short-steps")
    if isinstance(reading, Unmeasured) or reading.value >= NONE_DB:
        return reading
    seen = low.value - float(gain[at])
    reason = f"no reduction above {NONE_DB} dB up to {in_dbfs(curve.highest_dbfs)}"
    return Unmeasured(unit, reason, HIGHER_STEPS, at_most=max(NONE_DB, seen))


def _saturation(curve: StaticCurve) -> Reading:
    found, unit = find_saturation(curve.points), "dBFS"
    levels = sorted({round(p.input_dbfs, 2) for p in curve.points})
    if found is None:
        highest = levels[-1] if levels else None
        return Unmeasured(unit, "no step is flattened by saturation", HIGHER_STEPS, at_least=highest)
    below = max((level for level in levels if level < found.seen_dbfs - 0.05), default=found.seen_dbfs)
    return Quantity(found.seen_dbfs, min(below, found.seen_dbfs), found.seen_dbfs, unit)
