"""The colour chapter: harmonics over level and frequency, and what they amount to for a recordist."""

from __future__ import annotations

import dataclasses
import math
from collections import defaultdict
from collections.abc import Sequence

from charprobe.estimators.colour.harmonics import HIGHEST, HarmonicCell, measure_harmonics
from charprobe.estimators.colour.readings import LevelRung, colour_onset, even_odd_balance, input_at_thd
from charprobe.estimators.colour.ripple import LEAST_FREQUENCIES, Split, split_ripple
from charprobe.estimators.passage import Passage
from charprobe.measuring.chapters.colour.expected import ExpectedRipple, expected_ripple, expected_words
from charprobe.measuring.chapters.colour.intermodulation import intermodulation
from charprobe.measuring.chapters.colour.noise_under import (
    noise_under_entries,
    noise_under_table,
    noise_under_words,
)
from charprobe.measuring.chapters.colour.stray_lines import stray_finding, stray_table
from charprobe.measuring.chapters.colour.tables import colour_curves, colour_findings
from charprobe.measuring.chapters.colour.transfer import transfer
from charprobe.measuring.chapters.lookup import Reduction, absent, counterpart
from charprobe.placing.take import Take, held
from charprobe.profile.entry import Chapter, Entry, Published, known
from charprobe.profile.glossary import term
from charprobe.stimulus.kinds.segment import Segment
from charprobe.stimulus.kinds.steady import Tones
from charprobe.values.cut import Cut
from charprobe.values.quantity import Quantity, Reading, Unmeasured
from charprobe.values.wording import number_text

NAMES = (
    "colour.thd_at_reference",
    *(f"colour.h{order}_at_reference" for order in range(2, HIGHEST + 1)),
    "colour.input_at_thd_minus60db",
    "colour.input_at_thd_minus40db",
    "colour.onset",
    "colour.even_odd_balance",
    "colour.ripple_share",
    "colour.ripple_expected",
    "noise.under_signal",
    "noise.rise_under_signal",
)
RECIPE = "quick"
REFERENCE_HZ, REFERENCE_DBFS = 1000.0, -10.0
SAME_LEVEL_DB = 0.6  # tones this close belong to one level of the recipe
CLEAR_REDUCTION_DB = 1.0  # the share of ripple is judged where there is at least this much


def colour_chapter(
    wet: Take,
    bypass: Take | None,
    static: Reduction | None,
    *,
    passage: Passage | None = None,
    timing: Chapter | None = None,
) -> Chapter:
    """Measure harmonics and intermodulation of a setting from its tones and two_tone segments.

    Parameters
    ----------
    wet, bypass : Take
        Captures of the setting and, if there is one, of the bypass.
    static : Reduction or None
        The static curve, to tell which tones ran under gain reduction.
    passage : Passage or None
        Linear response of the stage at rest, to tell colour behind a filter from ripple.
    timing : Chapter or None
        The timing chapter, whose attack and release let expect some ripple.
    """
    pairs = intermodulation(wet, bypass)
    rungs = _measured(wet, bypass, static)
    if not rungs:
        entries = absent(wet, Tones, NAMES, recipe=RECIPE) | dict(pairs.quantities)
        return Chapter(entries, pairs.curves, words=pairs.words)
    rate_hz = float(wet.stimulus.rate_hz)
    splits = _splits(rungs, passage)
    rungs = [_without_ripple(rung, splits) for rung in rungs]
    ladder = _ladder(rungs)
    curve, curve_words = transfer(rungs, ladder)
    reference = min(ladder, key=lambda rung: abs(rung.input_dbfs - REFERENCE_DBFS))
    at = _tone_words(reference)
    over = f"tones of {reference.cell.tone.frequency_hz:g} Hz" + (
        "" if bypass else ", no bypass to compare with"
    )
    entries = {"colour.thd_at_reference": Entry(reference.cell.thd, at)}
    for order in range(2, HIGHEST + 1):
        near = "; within 6 dB of the bypass" if reference.near_rig(order) else ""
        entries[f"colour.h{order}_at_reference"] = Entry(reference.cell.level(order), at + near)
    entries["colour.even_odd_balance"] = Entry(even_odd_balance(reference.cell), at)
    for name, target in (("minus60db", -60.0), ("minus40db", -40.0)):
        entries[f"colour.input_at_thd_{name}"] = Entry(input_at_thd(ladder, target_dbc=target), over)
    entries["colour.onset"] = Entry(_onset(ladder, bypass), over + ", ripple of the gain taken out")
    entries |= noise_under_entries(ladder, reference, at)
    shown = _rippling(rungs, reference.cell.tone.frequency_hz)
    # worked out only where something ripples
    expected = expected_ripple(timing, static) if splits and timing is not None else None
    entries |= _ripple_entries(splits, rungs, shown, expected, static)

    def words(published: Published) -> tuple[str, ...]:
        compared = shown and expected_words(
            published["colour.ripple_expected"].reading, shown, _tone_words(shown)
        )
        return (
            *colour_findings(ladder, published),
            *((compared,) if compared else ()),
            *(curve_words if known(published, "colour.thd_at_reference") else ()),
            *pairs.words(published),
            *(stray_finding(rungs, rate_hz=rate_hz) if known(published, "colour.thd_at_reference") else ()),
            *noise_under_words(published),
        )

    return Chapter(
        quantities=entries | dict(pairs.quantities),
        curves=colour_curves(rungs, splits, ladder, expected=expected, static=static)
        | {"stray_lines": stray_table(rungs, rate_hz=rate_hz), "noise_under_signal": noise_under_table(rungs)}
        | dict(pairs.curves)
        | curve,
        words=words,
    )


def _measured(wet: Take, bypass: Take | None, static: Reduction | None) -> list[LevelRung]:
    """Every tone of every tones segment; the bypass fixes its place on the input axis."""
    polarity = bypass.alignment.polarity if bypass is not None else 1
    rungs = []
    for segment in held(wet, Tones):
        rigs: dict[int, HarmonicCell] = {}
        same = counterpart(bypass, segment)
        if bypass is not None and same is not None:
            rigs = {cell.tone.group: cell for cell in _cells(bypass, same, polarity)}
        for cell in _cells(wet, segment, polarity):
            rig = rigs.get(cell.tone.group)
            level = rig.fundamental if rig is not None else None
            input_dbfs = level.value if isinstance(level, Quantity) else cell.tone.level_dbfs
            reduction = static.reduction_db_at(input_dbfs) if static is not None else None
            rungs.append(LevelRung(input_dbfs, reduction, cell, rig))
    return [dataclasses.replace(rung, fall_db=_fall_db(rung, rungs)) for rung in rungs]


def _fall_db(rung: LevelRung, rungs: Sequence[LevelRung]) -> float | None:
    """How far the gain of a tone lies below the highest of quieter tones of its frequency, 0 at least."""
    gain = _gain_db(rung)
    quieter = [
        other
        for one in rungs
        if one.cell.tone.frequency_hz == rung.cell.tone.frequency_hz
        and one.input_dbfs < rung.input_dbfs - SAME_LEVEL_DB
        and (other := _gain_db(one)) is not None
    ]
    return None if gain is None or not quieter else max(0.0, max(quieter) - gain)


def _gain_db(rung: LevelRung) -> float | None:
    level = rung.cell.fundamental
    return level.value - rung.input_dbfs if isinstance(level, Quantity) else None


def _cells(take: Take, segment: Segment, polarity: int) -> tuple[HarmonicCell, ...]:
    """Harmonics with the recorder's polarity undone: it would turn the even ones round."""
    cut = take.segment(segment)
    upright = Cut(polarity * cut.samples, cut.start, cut.step, cut.rate_hz)
    return measure_harmonics(upright, tones=take.intact(segment).tones)


def _splits(rungs: Sequence[LevelRung], passage: Passage | None) -> tuple[Split, ...]:
    """Colour and ripple of every level with enough frequencies, if any tone runs under gain reduction.

    Levels below the reduction are split too: just under a threshold the detector's ripple reaches it.
    """
    if all(rung.idle for rung in rungs):
        return ()
    levels: dict[float, list[HarmonicCell]] = defaultdict(list)
    for rung in rungs:
        levels[rung.cell.tone.level_dbfs].append(rung.cell)
    enough = [
        cells for cells in levels.values() if len({c.tone.frequency_hz for c in cells}) >= LEAST_FREQUENCIES
    ]
    return split_ripple(enough, passage=passage)


def _split_of(splits: Sequence[Split], cell: HarmonicCell) -> Split | None:
    return next((split for split in splits if any(one is cell for one in split.cells)), None)


def _without_ripple(rung: LevelRung, splits: Sequence[Split]) -> LevelRung:
    split = _split_of(splits, rung.cell)
    if split is None:
        return rung
    colour, stds = split.colour_at(rung.cell)
    return dataclasses.replace(rung, colour=colour, colour_stds=stds)


def _ladder(rungs: Sequence[LevelRung]) -> list[LevelRung]:
    """Return the rungs of the frequency nearest 1 kHz, levels ascending."""
    nearest = min(
        (rung.cell.tone.frequency_hz for rung in rungs), key=lambda hz: abs(math.log(hz / REFERENCE_HZ))
    )
    chosen = [rung for rung in rungs if rung.cell.tone.frequency_hz == nearest]
    return sorted(chosen, key=lambda rung: rung.input_dbfs)


def _tone_words(rung: LevelRung) -> str:
    tone = rung.cell.tone
    if rung.reduced_db is None:
        reduction = "gain reduction not known"
    elif rung.idle:
        reduction = "no gain reduction"
    elif rung.reduction_db is None:
        reduction = f"gain {number_text(rung.reduced_db, 1)} dB lower than of quieter tones"
    else:
        reduction = f"{number_text(rung.reduction_db, 1)} dB of gain reduction"
    return f"{tone.frequency_hz:g} Hz at {number_text(rung.input_dbfs, 1)} dBFS, {reduction}"


def _onset(ladder: Sequence[LevelRung], bypass: Take | None) -> Reading:
    if bypass is None:
        reason = "there is no bypass capture, so the recorder's own harmonics cannot be told from the stage's"
        return Unmeasured("dBFS", reason, "record the bypass and give it")
    return colour_onset(ladder)


def _rippling(rungs: Sequence[LevelRung], reference_hz: float) -> LevelRung | None:
    """Return the tone at which ripple is judged: the reference if its third harmonic shows, else the lowest.

    None without a level clearly under gain reduction. Ripple is largest at the lowest tone.
    """
    clear = [
        rung
        for rung in rungs
        if rung.reduced_db is not None and rung.reduced_db >= CLEAR_REDUCTION_DB and rung.colour is not None
    ]
    if not clear:
        return None
    nearest = min(abs(rung.input_dbfs - REFERENCE_DBFS) for rung in clear)
    level = [rung for rung in clear if abs(rung.input_dbfs - REFERENCE_DBFS) < nearest + SAME_LEVEL_DB]
    level.sort(key=lambda rung: (rung.cell.tone.frequency_hz != reference_hz, rung.cell.tone.frequency_hz))
    return next((rung for rung in level if rung.cell.detected(3)), level[0])


def _ripple_entries(
    splits: Sequence[Split],
    rungs: Sequence[LevelRung],
    shown: LevelRung | None,
    expected: ExpectedRipple | None,
    static: Reduction | None,
) -> dict[str, Entry]:
    """Share of ripple and ripple expected, at the tone at which ripple is judged."""
    share, foretold = "colour.ripple_share", "colour.ripple_expected"
    if shown is None:
        return {name: _no_ripple(rungs, term(name).unit) for name in (share, foretold)}
    split = _split_of(splits, shown.cell)
    assert split is not None
    third = f"third harmonic of {_tone_words(shown)}"
    unknown = Unmeasured(term(foretold).unit, "attack and release were not measured", "a recipe with bursts")
    return {
        share: Entry(split.share(shown.cell), third),
        foretold: Entry(unknown, "") if expected is None else Entry(expected.third(shown, static), third),
    }


def _no_ripple(rungs: Sequence[LevelRung], unit: str) -> Entry:
    """Say why there is nothing to judge ripple by."""
    if all(rung.reduced_db is None for rung in rungs):
        reason = "it is not known which tones ran under gain reduction"
        return Entry(Unmeasured(unit, reason, "a recipe with level_steps beside the tones"), "")
    if all(rung.idle for rung in rungs):
        words = "no gain reduction at any level of the tones"
        if unit == "%":
            return Entry(Quantity(0.0, 0.0, 0.0, unit), words)
        return Entry(Unmeasured(unit, f"{words}, so no ripple", "none needed"), "")
    reason = (
        f"no level of the tones shows {CLEAR_REDUCTION_DB:g} dB of gain reduction at "
        f"{LEAST_FREQUENCIES} frequencies"
    )
    return Entry(Unmeasured(unit, reason, "a recipe with hotter tones at three frequencies"), "")
