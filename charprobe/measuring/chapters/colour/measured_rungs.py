"""Every tone that was played: its harmonics beside those of the bypass, and whether its gain moves."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from charprobe.estimators.colour.harmonic_cell import HarmonicCell
from charprobe.estimators.colour.harmonics import measure_harmonics
from charprobe.estimators.colour.level_rung import ODD, REDUCING_DB, LevelRung
from charprobe.estimators.colour.path_harmonics import through_path, with_path
from charprobe.estimators.response import Response
from charprobe.measuring.chapters.colour.ripple import SAME_LEVEL_DB
from charprobe.measuring.chapters.lookup import Reduction, counterpart
from charprobe.placing.take import Take, held, once
from charprobe.stimulus.kinds.segment import Segment
from charprobe.stimulus.kinds.steady import Tones
from charprobe.values.cut import Cut
from charprobe.values.quantity import Quantity

REST_DB = 4.0  # by which a tone lies under the first reduction, so that no crest of it reaches the detector
AS_FAR = 0.5  # share of a tone's own loss of gain
HEARD_HZ = 1100.0  # a filter behind may take what a higher tone's saturation would show


def measured_rungs(
    wet: Take, bypass: Take | None, static: Reduction | None, path: Response | None
) -> list[LevelRung]:
    """Return every tone of every tones segment; the bypass fixes its place on the input axis."""
    polarity = bypass.alignment.polarity if bypass is not None else 1
    moved_db = static.level_std_db if static is not None else 0.0
    rungs = []
    for segment in held(wet, Tones):
        rigs: dict[int, HarmonicCell] = {}
        same = counterpart(bypass, segment)
        if bypass is not None and same is not None:
            rigs = {cell.tone.group: cell for cell in _cells(bypass, same, polarity)}
        for found in _cells(wet, segment, polarity):
            told = through_path(with_path(found, list(rigs.values())), path)
            cell = dataclasses.replace(told, path_std_db=moved_db)
            rig = rigs.get(cell.tone.group)
            level = rig.fundamental if rig is not None else None
            input_dbfs = level.value if isinstance(level, Quantity) else cell.tone.level_dbfs
            reduction = static.reduction_db_at(input_dbfs) if static is not None else None
            steepness = static.steepness_at(input_dbfs) if static is not None else 0.0
            rungs.append(LevelRung(input_dbfs, reduction, cell, rig, steepness=steepness))
    rungs = [dataclasses.replace(rung, fall_db=_fall_db(rung, rungs)) for rung in rungs]
    rungs = [dataclasses.replace(rung, follows=_follows(rung, rungs)) for rung in rungs]
    return [dataclasses.replace(rung, at_rest=_at_rest(rung, rungs, static)) for rung in rungs]


def _at_rest(rung: LevelRung, rungs: Sequence[LevelRung], static: Reduction | None) -> bool:
    """Tell whether a tone runs so far from any gain that follows the level that no crest of it moves one."""
    if not rung.idle:
        return False
    above = static.reduction_db_at(rung.input_dbfs + REST_DB) if static is not None else None
    hotter = [
        one
        for one in rungs
        if one.cell.tone.frequency_hz == rung.cell.tone.frequency_hz
        and one.input_dbfs > rung.input_dbfs + SAME_LEVEL_DB
    ]
    louder = min(hotter, key=lambda one: one.input_dbfs, default=None)
    if above is None:
        return louder is None or louder.idle
    if (rung.reduced_db or 0.0) >= REDUCING_DB:
        return above < REDUCING_DB  # what its gain lost is saturation
    if louder is not None and not louder.idle and (louder.reduction_db or 0.0) < REDUCING_DB:
        return False  # the level steps do not tell what this frequency does
    here = rung.reduction_db or 0.0
    return above < REDUCING_DB and (here < -REDUCING_DB or above > -REDUCING_DB)


def _follows(rung: LevelRung, rungs: Sequence[LevelRung]) -> bool:
    """Whether a tone of another frequency and this level falls as far, by more than saturates it."""
    return any(
        abs(one.input_dbfs - rung.input_dbfs) < SAME_LEVEL_DB
        and one.cell.tone.frequency_hz != rung.cell.tone.frequency_hz
        and one.cell.tone.frequency_hz < max(HEARD_HZ, rung.cell.tone.frequency_hz)
        and one.cell.orders >= ODD[0]
        and (one.fall_db or 0.0) > AS_FAR * (rung.fall_db or 0.0)
        and not one.idle
        for one in rungs
    )


def _fall_db(rung: LevelRung, rungs: Sequence[LevelRung]) -> float | None:
    """How far the gain of a tone lies below the highest of quieter tones of its frequency, 0 at least."""
    gain = rung.gain_db
    quieter = [
        other
        for one in rungs
        if one.cell.tone.frequency_hz == rung.cell.tone.frequency_hz
        and one.input_dbfs < rung.input_dbfs - SAME_LEVEL_DB
        and (other := one.gain_db) is not None
    ]
    return None if gain is None or not quieter else max(0.0, max(quieter) - gain)


@once
def _cells(take: Take, segment: Segment, polarity: int) -> tuple[HarmonicCell, ...]:
    """Harmonics with the recorder's polarity undone: it would turn the even ones round."""
    cut = take.segment(segment)
    upright = Cut(polarity * cut.samples, cut.start, cut.step, cut.rate_hz)
    return measure_harmonics(upright, tones=take.intact(segment).tones)
