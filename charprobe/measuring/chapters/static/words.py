"""What is worth saying about a static curve: health of the stage, and plain sentences."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from charprobe.estimators.static.bends import BendsFit
from charprobe.estimators.static.curve import StaticCurve, in_dbfs
from charprobe.estimators.static.level_steps import LevelStepsFit
from charprobe.estimators.static.points import USABLE_STD_DB
from charprobe.estimators.static.readings import (
    FLAT_SLOPE,
    NONE_DB,
    OVER,
    BendReadings,
    StaticReadings,
    rising_corners,
)
from charprobe.measuring.chapters.static.closing import Closing
from charprobe.placing.take import Take
from charprobe.profile.entry import Health, Published, known
from charprobe.profile.told import Told
from charprobe.values.editors_digits import edited, edited_number
from charprobe.values.quantity import Quantity, Unmeasured, is_told, value_or_most
from charprobe.values.wording import number_text, rounded_text

OPENS_DB = 0.5  # by which the gain must rise with level to say so
FLOOR_STEPS = 3  # lowest steps that must agree for that
LITTLE_DB = 0.01  # left to go, standard uncertainty included, up to which a step is as good as a settled one
HISTORY_DB = 0.1  # rising and falling passes this far apart, both settled: the gain depends on history


def health_of(
    curve: StaticCurve, readings: StaticReadings, fit: LevelStepsFit, *, take: Take
) -> tuple[Health, ...]:
    """Name what the static curve says about the stage.

    Parameters
    ----------
    curve, readings
        The curve and what it says.
    fit : LevelStepsFit
        The steps behind it, for where they lie in the capture.
    take : Take
        The capture.
    """
    start_s = take.capture_time_s(fit.steps[0].tone.start)
    end_s = take.capture_time_s(fit.steps[-1].tone.stop)
    found = [*_unsettled(curve), *_saturated(curve, readings), *_history(readings), *_shape(curve, readings)]
    return tuple(
        Health(code, severity, message, channel=take.channel, start_s=start_s, end_s=end_s)  # type: ignore[arg-type]  # severities below are the three allowed
        for code, severity, message in found
    )


Found = Iterator[tuple[str, str, str]]


def _unsettled(curve: StaticCurve) -> Found:
    late = [
        p
        for p in curve.points
        if not p.settled
        and not p.saturated  # what is flat is left out anyway
        and (p.remaining_db != 0 or p.std_db <= USABLE_STD_DB)  # and so is what noise hides
    ]
    if not late:
        return
    farthest = max(late, key=lambda p: abs(p.remaining_db))
    alone = [
        p for p in late if not any(abs(q.input_dbfs - p.input_dbfs) < 0.1 and q.settled for q in curve.points)
    ]
    directions = {p.direction for p in late}
    way = f", all on the {next(iter(directions))} pass" if len(directions) == 1 else ""
    rest = (
        "the other pass settled at each of these levels and stands alone"
        if not alone
        else "where no step of a level settled, its extrapolated gain stands in if it is sure enough"
    )
    if curve.choice is None:
        rest = "too few are left for a threshold or ratio"
    yield (
        "unsettled",
        "warn" if any(abs(p.remaining_db) + p.std_db > LITTLE_DB for p in alone) else "note",
        f"{len(late)} of {len(curve.points)} level steps had not settled{way}, up to "
        f"{rounded_text(max(abs(farthest.remaining_db), 0.001), 2)} dB to go: left out of the curve; {rest}. "
        "Use a recipe with longer steps, such as static.",
    )


def _saturated(curve: StaticCurve, readings: StaticReadings) -> Found:
    if isinstance(readings.saturation, Unmeasured):
        return
    lowest = min(p.input_dbfs for p in curve.points if p.saturated)
    yield (
        "output-saturated",
        "warn",
        f"From {in_dbfs(readings.saturation.value)} up the output is flattened by saturation (third harmonic "
        f"and lost gain rise together): steps from {in_dbfs(lowest)} up are left out of the static curve.",
    )


def _history(readings: StaticReadings) -> Found:
    found = readings.hysteresis
    if isinstance(found, Quantity) and max(-found.high, found.low) > HISTORY_DB:
        yield (
            "history-dependent",
            "warn",
            f"Settled gain differs by {abs(found.value):.2f} dB between the rising and the falling pass: "
            "one static curve does not describe it.",
        )


def _shape(curve: StaticCurve, readings: StaticReadings) -> Found:
    if curve.choice is None:
        return
    fit, top = curve.fit, in_dbfs(curve.highest_dbfs)
    if fit is None:
        return
    rises = any(True for _ in rising_corners(curve))
    nothing = readings.compressed is None and readings.lower is None and not fit.shape.sloped and not rises
    if nothing and not curve.unknown_above:
        yield (
            "never-compresses",
            "note",
            f"No gain reduction above ±{NONE_DB} dB up to {top}{_but_for_saturation(curve)}. "
            f"Threshold above {top} or stage off. Ratio and times: not measurable.",
        )
    elif isinstance(readings.threshold, Unmeasured) and readings.threshold.at_most and curve.reaches_down:
        yield (
            "always-compresses",
            "warn",
            f"Slope below 1 even at the lowest steps: threshold below {in_dbfs(readings.threshold.at_most)}. "
            "Make-up cannot be told from reduction; use lower steps.",
        )
    yield from _bent(curve, readings, fit)


def _but_for_saturation(curve: StaticCurve) -> str:
    return "; what is lost above is saturation" if any(p.saturated for p in curve.points) else ""


def _lower_corner(curve: StaticCurve, lower: BendReadings) -> str:
    return in_dbfs(value_or_most(lower.threshold) or curve.highest_dbfs)


def _expands(fit: BendsFit) -> bool:
    """Whether the gain rises with level towards the flat section from below."""
    return fit.sections[fit.shape.lower - 1].slope > 0


def _bent(curve: StaticCurve, readings: StaticReadings, fit: BendsFit) -> Found:
    lower, second = readings.lower, readings.second
    if lower is not None and readings.dead_below_dbfs is None:
        corner, steep = _lower_corner(curve, lower), isinstance(lower.slope, Quantity)
        slope = f"slope {edited(lower.slope).value}" if steep else "too few steps tell its slope"
        if _expands(fit):
            yield (
                "expander",
                "warn",
                f"Below {corner} the output falls faster than the input ({slope}): gate or expander. Noise "
                "in the gaps is the gated one; this part of the curve is fitted separately.",
            )
        else:
            yield (
                "upward-compression",
                "note",
                f"Gain rises as level falls below {corner} ({slope}): upward compression, "
                "not a make-up gain.",
            )
    rising = list(rising_corners(curve))
    if second is not None and isinstance(second.threshold, Quantity) and readings.compressed is not None:
        first, bend, shown = readings.compressed, readings.bend, isinstance(second.slope, Quantity)
        begins = "at the lowest steps" if bend is None else f"above {in_dbfs(fit.corner(bend)[0])}"
        above = fit.sections[fit.sections.index(first) + 1].slope
        if not any(slope == above for _, slope in rising):
            yield (
                "second-bend",
                "note",
                f"More than one bend: {_ratio(1 + first.slope)} {begins}, "
                f"{_ratio(1 + above) if shown else 'another ratio, of which too few steps tell,'} above "
                f"{in_dbfs(second.threshold.value)}. Threshold, slope and knee are those of the first.",
            )
    for corner_dbfs, slope_above in rising:
        yield (
            "expander",
            "warn",
            f"Slope {1 + slope_above:.3g} above {in_dbfs(corner_dbfs)}: the gain rises with level.",
        )


def words_on(curve: StaticCurve, readings: StaticReadings, published: Published) -> Iterator[str]:
    """Say in plain sentences what the published readings of a static curve amount to."""
    if curve.choice is None:
        yield f"No static curve: {curve.too_few.reason}."
        return
    if curve.fit is None:
        yield (
            f"No curve of straight lines and knees describes this stage (the best misses the steps by "
            f"{curve.choice.misfit_db:.2f} dB): read its local slopes."
        )
        yield from _opens(curve)
        return
    threshold, ratio, slope, low = (
        published[f"static.{name}"].reading for name in ("threshold", "ratio", "slope", "low_level_gain")
    )
    lower = readings.lower
    if readings.dead_below_dbfs is not None:
        yield f"{Told.DEAD} below {in_dbfs(readings.dead_below_dbfs)}: no gate or expander."
    elif lower is not None and isinstance(lower.slope, Unmeasured) and not _expands(curve.fit):
        yield f"{Told.LIFTS} below {_lower_corner(curve, lower)}; too few steps tell its ratio."
    elif lower is not None and isinstance(lower.slope, Unmeasured):
        floor = _floor_db(curve)
        where = f"below {_lower_corner(curve, lower)}"
        where += "" if floor is None else f", down to a gain of {edited_number(floor, 'dB')}"
        yield f"{Told.GATE}, working {where}; too few steps tell how steep it is."
    if isinstance(threshold, Quantity) and isinstance(slope, Quantity):
        if slope.high < -OVER:
            how = f"over-compresses with slope {edited(slope).text}"
        else:
            how = f"compresses {edited(ratio).number}" if isinstance(ratio, Quantity) else "limits"
        yield f"Above {edited(threshold).number} it {how}{_knee(published)}."
    elif (
        readings.compressed is not None
        and curve.flat_section is None
        and known(published, "static.threshold")
    ):
        lowest = in_dbfs(curve.lowest_dbfs)
        every = f"It compresses at every level measured, from {lowest} up."
        yield (
            every
            if curve.reaches_down
            else f"It compresses from {lowest} up; below that no step had settled."
        )
    elif not known(published, "static.max_reduction"):
        return
    elif readings.compressed is not None and isinstance(slope, Unmeasured) and slope.cause is None:
        below = " below its second bend" if "static.second_slope" in published else ""
        yield f"It compresses, but nowhere along a straight line{below}: read its local slopes."
    elif readings.compressed is not None:
        yield f"Its knee is still bending at {in_dbfs(curve.highest_dbfs)}, the highest step: ratio unknown."
    rising = next(rising_corners(curve), None)
    if rising is not None:
        level, gain, _ = curve.means
        most_db = float(gain[level > rising[0]].max() - gain[level <= rising[0]].min())
        most = edited_number(most_db, "dB")
        yield f"{Told.RISES} above {in_dbfs(rising[0])}, by up to {most}."
    elif readings.compressed is None and isinstance(low, Quantity) and not curve.fit.shape.facing:
        above = "; no step above that had settled" if curve.unknown_above else ""
        yield f"It reduces no gain up to {in_dbfs(curve.highest_dbfs)}{_but_for_saturation(curve)}{above}."
    yield from _other_bends(published, curve.fit)
    if isinstance(low, Quantity):
        where = "Where it reduces nothing" if rising is None else "At low levels"
        yield f"{where} its gain is {edited(low).number}."


def _opens(curve: StaticCurve) -> Iterator[str]:
    """Say that the gain rises with level, where no corner tells from which on."""
    (level, gain, _), floor = curve.means, _floor_db(curve)
    if floor is None:
        return
    there = int(np.argmax(gain > gain.max() - NONE_DB))
    fallen_db = float(gain[there] - gain[there:].min())
    falls = f", and falls by {edited_number(fallen_db, 'dB')} above" if fallen_db > OPENS_DB else ""
    shut = f"{number_text(floor, 1)} dB at the lowest steps"
    yield _gate(shut, float(gain[there]), float(level[there]), falls)


def closing_words(closing: Closing | None, published: Published) -> Iterator[str]:
    """Say that the gain rises with level, where what is closed lies in the noise and is still published."""
    lower = published.get("static.lower_threshold")
    if closing is None or lower is None or not is_told(lower.reading):
        return
    shut = closing.shut_db
    to = "less than can be read" if shut is None else f"{number_text(shut, 0)} dB or less"
    yield _gate(f"{to} at {in_dbfs(closing.shut_dbfs)}", closing.open_db, closing.open_dbfs)


def _gate(shut: str, open_db: float, open_dbfs: float, falls: str = "") -> str:
    opened = f"{number_text(open_db, 1)} dB at {in_dbfs(open_dbfs)}"
    return f"{Told.GATE}: its gain rises from {shut} to {opened}{falls}."


def _floor_db(curve: StaticCurve) -> float | None:
    """Gain that the lowest steps share, where it rises from there on."""
    gain = curve.means[1]
    floor = gain[:FLOOR_STEPS]
    if floor.size < FLOOR_STEPS or np.ptp(floor) > NONE_DB or gain.max() - floor.max() < OPENS_DB:
        return None
    return float(floor.mean())


def _other_bends(published: Published, fit: BendsFit) -> Iterator[str]:
    """Say what the bends do that are not the threshold's."""
    for name, side in (("second", "Above"), ("lower", "Below")):
        entries = [published.get(f"static.{name}_{part}") for part in ("threshold", "slope")]
        threshold, slope = (entry.reading if entry else None for entry in entries)
        if not (isinstance(threshold, Quantity) and isinstance(slope, Quantity)):
            continue
        if name == "second" and slope.value > 1 + FLAT_SLOPE:
            continue  # said above: the gain rises
        if name == "second" and slope.value >= 1 - FLAT_SLOPE:
            how = "reduces no further"
        elif name == "second":
            how = "limits" if slope.low <= 0 else f"compresses {_ratio(slope.value)}"
        elif slope.value > 1:
            how = "expands: the output falls faster than the input"
        else:
            how = "lifts quiet sound"
        yield f"{side} {in_dbfs(threshold.value)} it {how}."
        third = len(fit.shape.facing) - 1 if name == "second" and fit.shape.facing[-3:] == (1, 1, 1) else 0
        if third and fit.corner(third)[2] < 0:
            ratio = _ratio(1 + fit.sections[-1].slope)
            yield f"{Told.STEEPER} {in_dbfs(fit.corner(third)[0])}: {ratio}."


def _knee(published: Published) -> str:
    width = published["static.knee_width"].reading
    if isinstance(width, Unmeasured):
        return ""
    if width.low <= 0:
        return f", with a knee narrower than {max(width.high, 0.1):.1f} dB"
    return f", with a knee {edited(width).number} wide"


def _ratio(slope: float) -> str:
    return f"{1 / slope:.2g}:1" if slope > 0.05 else "≥ 20:1"
