"""What harmonics under gain reduction come from: the one verdict on colour, tone by tone."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from charprobe.estimators.colour.harmonic_cell import HIGHEST
from charprobe.estimators.colour.readings import LevelRung, Origin
from charprobe.values.quantity import Quantity

ORDERS = range(2, HIGHEST + 1)
SURE = 5.0  # standard uncertainties from which one harmonic at rest speaks for every louder tone: 4 in 10^6
CLOSE_DB = 1.0  # within so much of what is expected, a harmonic is called ripple
AGAINST_DEG = (-150.0, -30.0)  # phases of a third harmonic that no lagging reduction of the crests makes
LOUDER_DB = 0.8  # by which the output must rise for a third harmonic that stays to speak against colour
GROWS = 0.3  # dB per dB of output from which it does not stay: colour grows by 1, by 2 while it is weak
WEAK_DBC = -40.0  # a stronger one may be colour that has stopped growing
CLEAR_DB, STRAIGHT = 0.3, 0.05  # standard uncertainty of a level and difference of slopes that compare

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
    Four witnesses are heard. Harmonics of a tone at rest are colour, and so are those of louder tones of its
    frequency: colour does not go away with drive. Under gain reduction, what does not fall with frequency is
    colour unless the expected ripple accounts for every odd harmonic of the level; even harmonics are not
    ripple of a detector that hears both half waves alike. A reduction follows the crests, at once (third
    harmonic at 180 degrees) or late (towards 0); a phase on the other side is not ripple. A third harmonic
    that stays as the output rises is: colour would grow, while more than one pole, or phases turned behind,
    make ripple fall and turn otherwise; then odd orders beyond the third are not asked.
    What only the first description or only the expectation calls ripple may be either.
    """
    sure = {
        frequency: min(levels)
        for frequency in {rung.cell.tone.frequency_hz for rung in rungs}
        if (levels := [r.input_dbfs for r in rungs if r.cell.tone.frequency_hz == frequency and _sure(r)])
    }
    stays = _stays(rungs)
    explained = {
        level: all(_explained(rung, expected) for rung in rungs if rung.cell.tone.level_dbfs == level)
        for level in {rung.cell.tone.level_dbfs for rung in rungs}
    }
    return [
        replace(
            rung,
            origin=_origin(
                rung,
                from_dbfs=sure.get(rung.cell.tone.frequency_hz),
                explained=explained[rung.cell.tone.level_dbfs],
                exceeded=_exceeded(rung, expected),
                stays=stays,
            ),
        )
        for rung in rungs
    ]


def _origin(
    rung: LevelRung, *, from_dbfs: float | None, explained: bool, exceeded: bool, stays: bool
) -> Origin:
    shown = [order for order in ORDERS if rung.shows(order)]
    if not shown:
        return "none"
    if rung.at_rest or (from_dbfs is not None and rung.input_dbfs >= from_dbfs):
        return "colour"
    left = [order for order in shown if rung.coloured(order)]
    if any(order % 2 == 0 for order in left):
        return "colour"
    if stays:
        left = [order for order in left if order == 3]
    elif (3 in shown and _against(rung)) or (left and rung.colour is not None and not explained):
        return "colour"
    return "either" if left or exceeded else "ripple"


def _sure(rung: LevelRung) -> bool:
    return rung.at_rest and any(rung.shows(order, sigmas=SURE) for order in ORDERS)


def _against(rung: LevelRung) -> bool:
    """Whether the third harmonic's phase cannot be ripple's; a gain that crests raise turns it round."""
    low, high = AGAINST_DEG
    phase = rung.cell.phase(3)
    turned = 180.0 if rung.opening else 0.0
    return isinstance(phase, Quantity) and low < phase.low - turned and phase.high - turned < high


def _stays(rungs: Sequence[LevelRung]) -> bool:
    """Whether the third harmonic is the same at two levels of a frequency and grows nowhere: ripple."""
    growths = [
        found for softer in rungs for louder in rungs if (found := _growth(softer, louder)) is not None
    ]
    return any(abs(one) < GROWS for one in growths) and not any(one >= GROWS for one in growths)


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
