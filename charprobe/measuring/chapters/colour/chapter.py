"""The colour chapter: harmonics over level and frequency, and what they amount to for a recordist."""

from __future__ import annotations

import dataclasses
import math
from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from charprobe.estimators.colour.harmonic_cell import HIGHEST, HarmonicCell
from charprobe.estimators.colour.level_rung import LevelRung
from charprobe.estimators.colour.origin import with_origins
from charprobe.estimators.colour.readings import even_odd_balance
from charprobe.estimators.colour.ripple import LEAST_FREQUENCIES, Split, split_ripple
from charprobe.estimators.passage import Passage
from charprobe.estimators.response import Response
from charprobe.measuring.chapters.colour.expected import ExpectedRipple, expected_ripple, expected_words
from charprobe.measuring.chapters.colour.intermodulation import intermodulation
from charprobe.measuring.chapters.colour.measured_rungs import measured_rungs
from charprobe.measuring.chapters.colour.noise_under import (
    noise_under_entries,
    noise_under_table,
    noise_under_words,
)
from charprobe.measuring.chapters.colour.over_frequency import (
    TARGETS,
    AtFrequency,
    colour_words,
    over_frequency,
    over_frequency_table,
    unlike_words,
)
from charprobe.measuring.chapters.colour.ripple import (
    REFERENCE_DBFS,
    ripple_entries,
    rippling_rung,
    split_of,
    tone_words,
)
from charprobe.measuring.chapters.colour.stray_lines import stray_finding, stray_table
from charprobe.measuring.chapters.colour.tables import colour_curves
from charprobe.measuring.chapters.colour.transfer import transfer
from charprobe.measuring.chapters.lookup import Reduction, absent
from charprobe.placing.take import Take
from charprobe.profile.entry import Chapter, Entry, Health, Published, known
from charprobe.stimulus.kinds.steady import Tones
from charprobe.values.quantity import Quantity, Reading, Unmeasured
from charprobe.values.wording import rounded_text

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
UNSETTLED = Unmeasured(
    "dBFS",
    "no tone of the frequency nearest 1 kHz had settled",
    "a recipe with longer tones",
    cause="short-steps",
)
WANDERS = Unmeasured(
    "dBFS",
    "the gain moves up and down by itself, where it reduces nothing too: no tone near 1 kHz had settled",
    "warm the gear up; longer tones would not settle either",
)
WANDERS_DB = 0.1  # left to go both ways, among tones that nothing reduces
REFERENCE_HZ = 1000.0
REMEMBERS = 0.25  # share by which ripple may still change where each burst leaves something behind
UNFINISHED = 0.1  # the same where level steps tell of a store slower than a tone
FEWEST_DRIFTING = 2  # tones whose harmonics change by themselves, from which it is told: one may be chance


def colour_chapter(
    wet: Take,
    bypass: Take | None,
    static: Reduction | None,
    *,
    passage: Passage | None = None,
    path: Response | None = None,
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
    path : Response or None
        Response of the bypass, which bends the stage's harmonics.
    timing : Chapter or None
        The timing chapter, whose attack and release let expect some ripple.
    """
    pairs = intermodulation(wet, bypass)
    rungs = measured_rungs(wet, bypass, static, path)
    if not rungs:
        entries = absent(wet, Tones, NAMES, recipe=RECIPE) | dict(pairs.quantities)
        return Chapter(entries, pairs.curves, words=pairs.words)
    rate_hz = float(wet.stimulus.rate_hz)
    splits = _splits(rungs, passage)
    unfinished, slow = (static.unfinished_db, static.slow_db) if static is not None else (0.0, 0.0)
    if timing is not None and any(item.code == "history-dependent" for item in timing.health):
        rungs, splits = _doubted(rungs, splits, share=REMEMBERS, gain_db=unfinished, slow_db=slow)
    elif unfinished or slow:
        rungs, splits = _doubted(rungs, splits, share=UNFINISHED, gain_db=unfinished, slow_db=slow)
    # worked out only where something ripples
    expected = expected_ripple(timing, static) if splits and timing is not None else None
    rungs = with_origins(
        [_without_ripple(rung, splits) for rung in rungs],
        expected=lambda rung: _foretold(expected, rung, static),
    )
    ladder = _ladder(rungs)
    settled = [rung for rung in ladder if rung.cell.told]
    curve, curve_words = transfer(rungs, settled)
    reference = min(ladder, key=lambda rung: abs(rung.input_dbfs - REFERENCE_DBFS))
    everywhere = over_frequency(rungs, bypassed=bypass is not None)
    main = next((one for one in everywhere if one.ladder == tuple(settled)), None)
    shown = rippling_rung(rungs, reference.cell.tone.frequency_hz)
    entries = (
        _at_reference(reference)
        | _reached(main, reference, bypass, rungs)
        | noise_under_entries(ladder, reference, tone_words(reference))
        | ripple_entries(splits, rungs, shown, expected, static)
    )

    def words(published: Published) -> tuple[str, ...]:
        compared = shown and expected_words(
            published["colour.ripple_expected"].reading, shown, tone_words(shown)
        )
        return (
            *unlike_words(everywhere),
            *colour_words(published, everywhere),
            *((compared,) if compared else ()),
            *(curve_words if known(published, "colour.thd_at_reference") else ()),
            *pairs.words(published),
            *(stray_finding(rungs, rate_hz=rate_hz) if known(published, "colour.thd_at_reference") else ()),
            *noise_under_words(published),
        )

    return Chapter(
        quantities=entries | dict(pairs.quantities),
        curves=colour_curves(rungs, splits, settled, expected=expected, static=static)
        | {"colour_over_frequency": over_frequency_table(everywhere)}
        | {"stray_lines": stray_table(rungs, rate_hz=rate_hz), "noise_under_signal": noise_under_table(rungs)}
        | dict(pairs.curves)
        | curve,
        health=_unsettled(wet, rungs),
        words=words,
    )


def _at_reference(reference: LevelRung) -> dict[str, Entry]:
    """Harmonics of the tone that the single numbers speak of."""
    at = tone_words(reference)
    entries = {"colour.thd_at_reference": Entry(reference.cell.thd, at)}
    for order in range(2, HIGHEST + 1):
        near = "; within 6 dB of the bypass" if reference.near_rig(order) else ""
        entries[f"colour.h{order}_at_reference"] = Entry(reference.cell.level(order), at + near)
    return entries | {"colour.even_odd_balance": Entry(even_odd_balance(reference.cell), at)}


def _reached(
    main: AtFrequency | None, reference: LevelRung, bypass: Take | None, rungs: Sequence[LevelRung]
) -> dict[str, Entry]:
    """Levels at which the tones of one frequency reach some distortion, and where their colour begins."""
    over = f"tones of {reference.cell.tone.frequency_hz:g} Hz" + (
        "" if bypass else ", no bypass to compare with"
    )
    unsettled = WANDERS if _wanders(rungs) else UNSETTLED
    entries = {
        f"colour.input_at_thd_{name}": Entry(main.reached[name] if main else unsettled, over)
        for name in TARGETS
    }
    onset = Entry(_onset(main, bypass, unsettled), over + ", ripple of the gain taken out")
    return entries | {"colour.onset": onset}


def _splits(rungs: Sequence[LevelRung], passage: Passage | None) -> tuple[Split, ...]:
    """Colour and ripple of every level with enough frequencies, if any tone runs under gain reduction.

    Levels just below the reduction are split too: there the detector's ripple reaches the threshold.
    """
    if all(rung.idle for rung in rungs):
        return ()
    levels: dict[float, list[HarmonicCell]] = defaultdict(list)
    for rung in rungs:
        if rung.cell.told and not rung.at_rest:
            levels[rung.cell.tone.level_dbfs].append(rung.cell)
    enough = [
        cells for cells in levels.values() if len({c.tone.frequency_hz for c in cells}) >= LEAST_FREQUENCIES
    ]
    return split_ripple(enough, passage=passage)


def _doubted(
    rungs: Sequence[LevelRung], splits: Sequence[Split], *, share: float, gain_db: float, slow_db: float
) -> tuple[list[LevelRung], tuple[Split, ...]]:
    """Widen gains by `gain_db`, and ripple by a share of it: both change while a slow store fills.

    What a store moves is how attack and release hold ripple in balance, which grows as the period: `slow_db`
    is that of a tone of 1 kHz.
    """
    told = {}
    for rung in rungs:
        split, ripple = split_of(splits, rung.cell), np.abs(rung.cell.ratios)
        if split is not None:
            ripple = np.abs(rung.cell.ratios - split.colour_at(rung.cell)[0])
        if not rung.at_rest:
            lower = max(1.0, REFERENCE_HZ / rung.cell.tone.frequency_hz)
            told[id(rung.cell)] = dataclasses.replace(
                rung.cell,
                moving_stds=np.hypot(rung.cell.moving_stds, share * ripple),
                path_std_db=math.hypot(rung.cell.path_std_db, gain_db, lower * slow_db),
            )
    rungs = [dataclasses.replace(rung, cell=told.get(id(rung.cell), rung.cell)) for rung in rungs]
    cells = [tuple(told.get(id(cell), cell) for cell in split.cells) for split in splits]
    return rungs, tuple(dataclasses.replace(s, cells=c) for s, c in zip(splits, cells, strict=True))


def _without_ripple(rung: LevelRung, splits: Sequence[Split]) -> LevelRung:
    split = split_of(splits, rung.cell)
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


def _wanders(rungs: Sequence[LevelRung]) -> bool:
    """Whether tones that nothing reduces still had to go up, and down, with no regard to their level.

    No length lets such a gain settle; one that goes down where it is loud and up where it is quiet would.
    """
    moving = [rung for rung in rungs if rung.idle and not rung.cell.settled]
    up, down = (
        [rung.input_dbfs for rung in moving if sign * rung.cell.settling.remaining_db > WANDERS_DB]
        for sign in (1, -1)
    )
    return bool(up and down) and min(down) <= max(up) and min(up) <= max(down)


def _onset(main: AtFrequency | None, bypass: Take | None, unsettled: Unmeasured) -> Reading:
    if bypass is None:
        reason = "there is no bypass capture, so the recorder's own harmonics cannot be told from the stage's"
        return Unmeasured("dBFS", reason, "record the bypass and give it")
    return main.onset if main is not None and main.onset is not None else unsettled


def _foretold(expected: ExpectedRipple | None, rung: LevelRung, static: Reduction | None) -> Quantity | None:
    third = None if expected is None else expected.third(rung, static)
    return third if isinstance(third, Quantity) else None


def _unsettled(wet: Take, rungs: Sequence[LevelRung]) -> tuple[Health, ...]:
    """Name the tones whose gain still moved, or whose harmonics did, and what that costs."""
    moving = [rung for rung in rungs if not rung.cell.settled]
    if not moving:
        return _drifting(wet, rungs)
    lost = sum(not rung.cell.told for rung in moving)
    worst = max(moving, key=lambda rung: rung.cell.settling.doubt_db).cell
    tones = [rung.cell.tone for rung in moving]
    wider = len(moving) - lost
    cost = [f"harmonics of {lost} are not given"] if lost else []
    if wider:
        cost.append(f"{'those' if lost else 'harmonics'} of {wider} have wider intervals")
    left = rounded_text(max(abs(worst.settling.remaining_db), 0.001), 2)
    then = "Use a recipe with longer tones."
    if _wanders(rungs):
        then = "It moves up and down by itself, where it reduces nothing too: longer tones would not settle."
    message = (
        f"The gain had not settled during {len(moving)} of {len(rungs)} tones, at "
        f"{worst.tone.frequency_hz:g} Hz by {left} dB: "
        f"{' and '.join(cost)}. {then}"
    )
    start_s, end_s = (
        wet.capture_time_s(at) for at in (min(t.start for t in tones), max(t.stop for t in tones))
    )
    told = Health("unsettled", "warn" if lost else "note", message, wet.channel, start_s, end_s)
    return (told, *_drifting(wet, rungs))


def _drifting(wet: Take, rungs: Sequence[LevelRung]) -> tuple[Health, ...]:
    """Name the tones whose harmonics changed by themselves: no level tells where those come to rest."""
    drifting = [rung.cell for rung in rungs if rung.cell.drifts]
    if len(drifting) < FEWEST_DRIFTING:
        return ()
    message = (
        f"Harmonics still changed during {len(drifting)} of {len(rungs)} tones, by more than their level, as "
        "the last of a gain's way, a bias or another slow store moves them. Their intervals grant it another "
        "second. Use a recipe with longer tones."
    )
    start_s, end_s = (
        wet.capture_time_s(at)
        for at in (min(c.tone.start for c in drifting), max(c.tone.stop for c in drifting))
    )
    return (Health("unsettled", "warn", message, wet.channel, start_s, end_s),)
