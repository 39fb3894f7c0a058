"""What harmonics under gain reduction come from: the one verdict on colour, tone by tone."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from charprobe.estimators.colour.harmonic_cell import HIGHEST
from charprobe.estimators.colour.level_rung import STEEP, LevelRung, Origin
from charprobe.values.quantity import Quantity

ORDERS = range(2, HIGHEST + 1)
SURE = 5.0  # standard uncertainties from which one harmonic at rest speaks for every louder tone: 4 in 10^6
CLOSE_DB = 1.0  # within so much of what is expected, a harmonic is called ripple
AGAINST_DEG = (-150.0, -30.0)  # phases of a third harmonic that no lagging reduction of the crests makes
UNHEARD_DB = 0.5  # of reduction that a filter before the detector takes away, at least
LOUDER_DB = 0.8  # by which the output must rise for a third harmonic that stays to speak against colour
GROWS = 0.3  # dB per dB of output from which it does not stay: colour grows by 1, by 2 while it is weak
WEAK_DBC = -40.0  # a stronger one may be colour that has stopped growing
CLEAR_DB, STRAIGHT = 0.3, 0.05  # standard uncertainty of a level and difference of slopes that compare
FEWEST = 3  # levels that tell
RISES_DB, AS_LOUD_DB = (
    6.0,
    1.0,
)  # over a lower tone that comes out no louder than by the latter: no ripple rises so
SPAN_DB, KEEPS = 20.0, 0.05  # of output, and dB per dB: what keeps so well for so long knows no level

Expected = Callable[[LevelRung], Quantity | None]


def with_origins(rungs: Sequence[LevelRung], *, expected: Expected) -> list[LevelRung]:
    """Tell of every tone whether its harmonics are colour, ripple of the gain, or either.

    Parameters
    ----------
    rungs : sequence of LevelRung
        All tones, with the part that goes as ripple taken out where that is known.
    expected : callable
        Third harmonic in dBc that a plain detector with the measured attack and release makes at a tone; None
        where that is not known.

    Notes
    -----
    Five witnesses are heard. Harmonics of a tone at rest are colour, and so are those of louder tones of its
    frequency: colour does not go away with drive. Under gain reduction, what does not fall with frequency is
    colour unless the expected ripple accounts for every odd harmonic of the level; even harmonics are not
    ripple of a detector that hears both half waves alike, nor is a third harmonic that rises with frequency
    while the gain is reduced as far. A reduction follows the crests, at once (third
    harmonic at 180 degrees) or late (towards 0); a phase on the other side is not ripple of a plain detector,
    and is colour if it grows, or does not all fall with frequency. A third harmonic that stays as the output
    rises is ripple: colour would grow, while more than one pole, or phases turned behind, make ripple fall
    and turn otherwise; then odd orders beyond the third are not asked. What only the first description or
    only the expectation calls ripple may be either, and so may what grows with the output beside a tone
    whose harmonics at rest are colour. No curve has one distortion at all levels, but a gain has that follows
    the sound and gives back what it takes: odd harmonics at rest that stay over 20 dB may be either. So may
    what shows while the gain moves, but under no louder tone that was read; between two levels that show
    colour there is no such doubt.
    """
    frequencies = {rung.cell.tone.frequency_hz for rung in rungs}
    one_tone = {hz: [rung for rung in rungs if rung.cell.tone.frequency_hz == hz] for hz in frequencies}
    keeps = {hz: _keeps(found) for hz, found in one_tone.items()}
    sure = {
        hz: min(levels)
        for hz, found in one_tone.items()
        if not keeps[hz] and (levels := [rung.input_dbfs for rung in found if _sure(rung)])
    }
    growths = {hz: _growths(found) for hz, found in one_tone.items()}
    explained = {
        level: all(_explained(rung, expected) for rung in rungs if rung.cell.tone.level_dbfs == level)
        for level in {rung.cell.tone.level_dbfs for rung in rungs}
    }
    told = [
        replace(
            rung,
            origin=_origin(
                rung,
                from_dbfs=sure.get(rung.cell.tone.frequency_hz),
                explained=explained[rung.cell.tone.level_dbfs],
                exceeded=_exceeded(rung, expected)
                or (
                    rung.input_dbfs >= min(sure.values(), default=math.inf)
                    and any(one >= GROWS for one in growths[rung.cell.tone.frequency_hz])
                    and not explained[rung.cell.tone.level_dbfs]
                ),
                rises=_rises(rung, rungs),
                growths=[one for of_tone in growths.values() for one in of_tone],
                keeps=keeps[rung.cell.tone.frequency_hz],
            ),
        )
        for rung in rungs
    ]
    told = [
        replace(rung, origin="ripple" if rung.steepness > STEEP else "either")  # a gate's
        if _goes_away(rung, told)
        else rung
        for rung in told
    ]
    return [replace(rung, origin="colour") if _between(rung, told) else rung for rung in told]


def _between(rung: LevelRung, told: Sequence[LevelRung]) -> bool:
    """Whether what may be either lies between a quieter and a louder tone of the frequency with colour."""
    hz = rung.cell.tone.frequency_hz
    levels = [one.input_dbfs for one in told if one.origin == "colour" and one.cell.tone.frequency_hz == hz]
    return rung.origin == "either" and bool(levels) and min(levels) < rung.input_dbfs < max(levels)


def _goes_away(rung: LevelRung, told: Sequence[LevelRung]) -> bool:
    """Whether colour shows at no louder tone of the frequency, though drive takes none away.

    Of a gain that moves ripple may hide it there. At rest it is the gain's where that rises with the level
    as in the knee of a gate, and where a notch around zero, which keeps its size, would show above.
    """
    hz, third = rung.cell.tone.frequency_hz, rung.cell.level(3)
    louder = [
        one
        for one in told
        if one.cell.told and one.cell.tone.frequency_hz == hz and one.input_dbfs > rung.input_dbfs
    ]
    if rung.origin != "colour" or not louder or any(one.origin == "colour" for one in louder):
        return False
    if not rung.at_rest:
        return True
    nearest = min(louder, key=lambda one: one.input_dbfs)
    return (
        rung.steepness > STEEP
        and isinstance(third, Quantity)
        and all(one.origin == "none" for one in louder)
        and nearest.cell.limits_dbc[1] < third.low - (nearest.input_dbfs - rung.input_dbfs)
    )


def _origin(
    rung: LevelRung,
    *,
    from_dbfs: float | None,
    explained: bool,
    exceeded: bool,
    rises: bool,
    growths: Sequence[float],
    keeps: bool,
) -> Origin:
    shown = [order for order in ORDERS if rung.shows(order)]
    if not shown:
        return "none"
    if rung.at_rest or (from_dbfs is not None and rung.input_dbfs >= from_dbfs):
        return "either" if keeps else "colour"
    left = [order for order in shown if rung.coloured(order)]
    if any(order % 2 == 0 for order in left) or (rises and not explained):
        return "colour"
    grows = any(one >= GROWS for one in growths)
    against = 3 in shown and _against(rung)
    if not grows and any(abs(one) < GROWS for one in growths):
        left = [order for order in left if order == 3]  # it stays
    elif (against and (3 in left or grows)) or (left and rung.colour is not None and not explained):
        return "colour"
    else:
        exceeded |= against
    return "either" if left or exceeded else "ripple"


def _rises(rung: LevelRung, rungs: Sequence[LevelRung]) -> bool:
    """Whether the third harmonic is clearly stronger than of a lower tone of its level, reduced as far."""
    level, out, tone = rung.cell.level(3), rung.cell.fundamental, rung.cell.tone
    if not (rung.shows(3) and isinstance(level, Quantity) and isinstance(out, Quantity)):
        return False
    lower = [
        (one.cell.level(3), one.cell.fundamental)
        for one in rungs
        if one.cell.tone.level_dbfs == tone.level_dbfs and one.cell.tone.frequency_hz < tone.frequency_hz
    ]
    return any(
        isinstance(loud, Quantity)
        and loud.value < out.value + AS_LOUD_DB
        and (most := third.most) is not None
        and most < level.low - RISES_DB
        for third, loud in lower
    )


def _sure(rung: LevelRung) -> bool:
    return rung.at_rest and any(rung.shows(order, sigmas=SURE) for order in ORDERS)


def _against(rung: LevelRung) -> bool:
    """Whether the third harmonic's phase cannot be ripple's; a gain that crests raise turns it round.

    A tone that is reduced less than its level asks for is heard through a filter, which turns its ripple too.
    """
    fall_db, asked_db = rung.fall_db, rung.reduction_db
    if fall_db is not None and asked_db is not None and fall_db < asked_db - UNHEARD_DB:
        return False
    low, high = AGAINST_DEG
    phase = rung.cell.phase(3)
    turned = 180.0 if rung.opening else 0.0
    return isinstance(phase, Quantity) and low < phase.low - turned and phase.high - turned < high


def _keeps(rungs: Sequence[LevelRung]) -> bool:
    """Whether all harmonics of a frequency are odd, and the third stays over `SPAN_DB` of output at rest."""
    if any(rung.shows(order) for rung in rungs for order in ORDERS if order % 2 == 0):
        return False
    third = [(rung.cell.level(3), rung.cell.fundamental) for rung in rungs if rung.at_rest]
    known = [
        (out.value, level.value, level.std)
        for level, out in third
        if isinstance(level, Quantity) and isinstance(out, Quantity) and level.std < CLEAR_DB
    ]
    if len(known) < FEWEST:
        return False
    out_db, level_db, _ = map(np.array, zip(*known, strict=True))
    return bool(np.ptp(out_db) > SPAN_DB and np.ptp(level_db) < KEEPS * np.ptp(out_db))


def _growths(rungs: Sequence[LevelRung]) -> list[float]:
    """Growths of the third harmonic between any two levels: where none grows and one stays, it is ripple."""
    pairs = (_growth(softer, louder) for softer in rungs for louder in rungs)
    return [found for found in pairs if found is not None]


def _growth(softer: LevelRung, louder: LevelRung) -> float | None:
    """Growth of the third harmonic in dB per dB of output where the curve is straight; None if not clear."""
    if softer.cell.tone.frequency_hz != louder.cell.tone.frequency_hz or softer.idle or louder.idle:
        return None
    known = 0.0 not in (softer.steepness, louder.steepness)
    if known and abs(softer.steepness - louder.steepness) > STRAIGHT:
        return None
    thirds = [one.cell.level(3) for one in (softer, louder)]
    outputs = [one.cell.fundamental for one in (softer, louder)]
    here, there, low, high = (q if isinstance(q, Quantity) else None for q in (*thirds, *outputs))
    if here is None or there is None or low is None or high is None:
        return None
    louder_db = high.value - low.value
    clear = math.hypot(here.std, there.std) < GROWS * louder_db
    return (
        (there.value - here.value) / louder_db
        if clear and louder_db > LOUDER_DB and there.value < WEAK_DBC
        else None
    )


def _over_db(rung: LevelRung, expected: Expected) -> float | None:
    """By how much the third harmonic lies over the highest expected; None where either is not known."""
    level, ripple = rung.cell.level(3), expected(rung)
    return level.value - ripple.high if isinstance(level, Quantity) and ripple is not None else None


def _explained(rung: LevelRung, expected: Expected) -> bool:
    over = _over_db(rung, expected)
    return not rung.shows(3) or (over is not None and over <= CLOSE_DB)


def _exceeded(rung: LevelRung, expected: Expected) -> bool:
    over = _over_db(rung, expected)
    return over is not None and over > CLOSE_DB
