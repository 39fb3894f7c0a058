"""Where colour and distortion begin at each frequency of the tones, and the sentences that follow."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.colour.level_rung import LevelRung
from charprobe.estimators.colour.readings import colour_onset, input_at_thd, stays_above
from charprobe.profile.entry import Cell, Published, Table
from charprobe.profile.told import Told
from charprobe.values.quantity import Quantity, Reading, Unmeasured, value_or_most
from charprobe.values.wording import joined, number_text

TARGETS = {"minus60db": (-60.0, "0.1 %"), "minus40db": (-40.0, "1 %")}
MINUS = re.compile(r"(?<![\w-])-(?=\d)")
UNLIKE_DB = 1.0  # by which tones of several frequencies must be reduced otherwise to be told
SAME_DB = 0.5  # onsets this close are one
NARROW = 20.0  # percent: a wider interval of a share is said as what it is
READINGS = ("onset", *(f"input_at_thd_{name}" for name in TARGETS))


@dataclass(frozen=True)
class AtFrequency:
    """What the ladder of one frequency says: `onset` is None where there is no bypass to tell colour by."""

    ladder: tuple[LevelRung, ...]
    onset: Reading | None
    reached: dict[str, Reading]

    @property
    def frequency_hz(self) -> float:
        """Frequency of its tones."""
        return self.ladder[0].cell.tone.frequency_hz

    @property
    def coloured(self) -> bool:
        """Whether colour was found."""
        onset = self.onset
        return isinstance(onset, Quantity) or (onset is not None and onset.at_most is not None)

    @property
    def from_dbfs(self) -> float:
        """Level from which colour was found, or that distortion was looked for up to."""
        level = value_or_most(self.onset)
        return self.ladder[-1].input_dbfs if level is None else level

    def has(self, origin: str) -> bool:
        """Whether any tone's harmonics come from there."""
        return any(rung.origin == origin for rung in self.ladder)


def over_frequency(rungs: Sequence[LevelRung], *, bypassed: bool) -> list[AtFrequency]:
    """Read the ladder of every frequency, ascending; tones that had not settled are left out."""
    found = []
    for frequency in sorted({rung.cell.tone.frequency_hz for rung in rungs}):
        ladder = tuple(
            sorted(
                (r for r in rungs if r.cell.tone.frequency_hz == frequency and r.cell.told),
                key=lambda rung: rung.input_dbfs,
            )
        )
        if ladder:
            reached = {name: input_at_thd(ladder, target_dbc=target) for name, (target, _) in TARGETS.items()}
            found.append(AtFrequency(ladder, colour_onset(ladder) if bypassed else None, reached))
    return found


def over_frequency_table(found: Sequence[AtFrequency]) -> Table:
    """Onset and levels of given distortion at each frequency, each with interval or bound."""
    columns: dict[str, list[Cell]] = {"frequency_hz": [one.frequency_hz for one in found]}
    for name in READINGS:
        readings = [one.onset if name == "onset" else one.reached[name[-9:]] for one in found]
        columns[f"{name}_dbfs"] = [q.value if isinstance(q, Quantity) else None for q in readings]
        columns[f"{name}_low_dbfs"] = [reading.least if reading else None for reading in readings]
        columns[f"{name}_high_dbfs"] = [reading.most if reading else None for reading in readings]
    return Table(columns, {name: "Hz" if name.endswith("hz") else "dBFS" for name in columns})


def colour_words(published: Published, found: Sequence[AtFrequency]) -> Iterator[str]:
    """Sentences on where colour begins and what distortion to expect, all from one verdict."""
    yield from map(_signed, _told(published, found))


def _signed(sentence: str) -> str:
    return MINUS.sub("−", sentence)


def _told(published: Published, found: Sequence[AtFrequency]) -> Iterator[str]:
    onset = published["colour.onset"].reading
    if isinstance(onset, Quantity) or onset.bounded or any(one.has("either") for one in found):
        yield from _onsets([one for one in found if one.onset is not None])
    for name, (target, share) in TARGETS.items():
        level = published[f"colour.input_at_thd_{name}"].reading
        if isinstance(level, Quantity) or level.bounded:
            yield from _distortion(found, name, share, target)
    entry = published["colour.even_odd_balance"]
    balance, where = entry.reading, entry.conditions
    if isinstance(balance, Quantity):
        lead = "even" if balance.value > 0 else "odd"
        yield f"The {lead} harmonics lead by {number_text(abs(balance.value), 1)} dB at {where}."
    elif balance.bounded:
        yield f"{balance.reason[0].upper()}{balance.reason[1:]} at {where}."
    entry = published["colour.ripple_share"]
    part = entry.reading
    if isinstance(part, Quantity) and part.low > 0:
        narrow = part.high - part.low <= NARROW
        much = f"{part.value:.0f}" if narrow else f"{part.low:.0f} to {part.high:.0f}"
        yield f"Ripple of the gain explains {much} % of the {entry.conditions}."


def unlike_words(found: Sequence[AtFrequency]) -> Iterator[str]:
    """Say that tones of one level and other frequencies are reduced otherwise, by more than saturates.

    Of all levels the one that shows it best, by more than the tones' own intervals leave open.
    """
    ladders = [
        {round(rung.input_dbfs, 1): rung for rung in one.ladder if rung.gain_db is not None} for one in found
    ]
    best, words = UNLIKE_DB, ""
    for level in sorted({level for rungs in ladders for level in rungs}):
        heard = [rungs for rungs in ladders if level in rungs]
        quieter = [lower for lower in set.intersection(*map(set, heard)) if lower < level]
        if len(heard) < 2 or not quieter:
            continue
        tops = [rungs[level] for rungs in heard]
        falls = [
            0.0
            if top.idle
            else max(0.0, max(rungs[lower].gain_db or 0.0 for lower in quieter) - (top.gain_db or 0.0))
            for top, rungs in zip(tops, heard, strict=True)
        ]
        doubt_db = max(top.saturable_db for top in tops) + 2 * max(top.gain_std_db for top in tops)
        if max(falls) - min(falls) - doubt_db >= best:
            best = max(falls) - min(falls) - doubt_db
            each = [
                f"{number_text(fall_db, 1)} dB at {top.cell.tone.frequency_hz:g} Hz"
                for fall_db, top in zip(falls, tops, strict=True)
            ]
            words = f"at {number_text(level, 1)} dBFS the gain of a tone falls by {joined(each)}"
    if words:
        yield f"{Told.UNLIKE}: {words}."


def _onsets(found: Sequence[AtFrequency]) -> Iterator[str]:
    """Where colour begins at each frequency, or that there is none, or that it cannot be told."""
    coloured = [one for one in found if one.coloured]
    unsure = [one for one in found if one.has("either") and not one.coloured]
    clean = [one for one in found if one not in coloured and one not in unsure]
    if coloured:
        below = ", and below that ripple of the gain" if any(one.has("ripple") for one in coloured) else ""
        yield f"{Told.COLOUR} {_begins(coloured, everywhere=len(coloured) == len(found))}{below}."
    if unsure:
        levels = [rung.input_dbfs for one in unsure for rung in one.ladder if rung.origin == "either"]
        span = " to ".join(dict.fromkeys(number_text(level, 1) for level in (min(levels), max(levels))))
        yield (
            f"Whether harmonics at {_tones(unsure)} are ripple of the gain or colour cannot be told at "
            f"{span} dBFS."
        )
    if not clean:
        return
    top = number_text(min(one.ladder[-1].input_dbfs for one in clean), 1)
    if any(one.has("ripple") for one in clean):
        yield (
            f"Harmonics under gain reduction are gain ripple at {_tones(clean)}: "
            f"no colour beyond it up to {top} dBFS."
        )
    else:
        limit = max(float(np.max(one.ladder[-1].cell.limits_dbc, initial=-300.0)) for one in clean)
        yield (
            f"No colour found up to {top} dBFS at {_tones(clean)}: no harmonic beyond the bypass above "
            f"{number_text(limit, 0)} dBc."
        )


def _begins(coloured: Sequence[AtFrequency], *, everywhere: bool) -> str:
    """Levels from which colour shows, lowest first; one for all frequencies that begin together."""
    parts, left = [], sorted(coloured, key=lambda one: one.from_dbfs)
    while left:
        near = [one for one in left if one.from_dbfs < left[0].from_dbfs + SAME_DB]
        level = f"from {number_text(left[0].from_dbfs, 1)} dBFS up"
        if all(not isinstance(one.onset, Quantity) and not one.has("either") for one in near):
            level = f"at every level read, {level}"
        parts.append(level if everywhere and len(near) == len(coloured) else f"{level} at {_tones(near)}")
        left = left[len(near) :]
    return ", ".join(parts)


def _distortion(found: Sequence[AtFrequency], name: str, share: str, target: float) -> Iterator[str]:
    """How high peaks may go before distortion reaches a share, at the frequency where that is lowest."""
    reached = [(one, one.reached[name]) for one in found]
    above = [one for one, level in reached if not isinstance(level, Quantity) and level.at_most is not None]
    told = [(level.low, one) for one, level in reached if isinstance(level, Quantity)]
    at = [(low, one) for low, one in told if stays_above(one.ladder[-1:], target_dbc=target)]
    less = [other for other, (lower, _) in TARGETS.items() if lower < target]
    below = [  # what stays below less is not said again
        one
        for one, level in reached
        if _clear(level) and not any(_clear(one.reached[other]) for other in less)
    ]
    always = [one for one in above if stays_above(one.ladder, target_dbc=target)]
    partly = [one for one in above if one not in always]
    passed = [one for one in told if one not in at]  # as a gate opens; its level is no limit for peaks
    if always:
        level = number_text(min(one.ladder[0].input_dbfs for one in always), 1)
        yield f"Distortion is above {share} at every level read at {_tones(always)}, from {level} dBFS up."
    if partly:
        level = number_text(min(one.ladder[0].input_dbfs for one in partly), 1)
        yield f"Distortion is above {share} at {level} dBFS at {_tones(partly)}, not at every higher level."
    if passed:
        level = number_text(min(low for low, _ in passed), 1)
        tones = _tones(one for _, one in passed)
        yield f"Distortion rises above {share} from {level} dBFS up at {tones} and falls below it again."
    if at and not above:
        low, one = min(at, key=lambda pair: pair[0])
        where = "" if len(at) == len(found) else f" of {_tones([one])} tones"
        peak = number_text(math.floor(low * 10) / 10, 1)
        yield f"{Told.PEAKS}{where} under {peak} dBFS to stay below {share} distortion."
    if below:
        top = number_text(min(one.ladder[-1].input_dbfs for one in below), 1)
        where = "" if len(below) == len(found) else f" at {_tones(below)}"
        yield f"Distortion stays below {share} up to {top} dBFS{where}."


def _clear(level: Reading) -> bool:
    """Whether no level read reaches a share of distortion."""
    return isinstance(level, Unmeasured) and level.at_least is not None


def _tones(found: Iterable[AtFrequency]) -> str:
    return f"{joined([f'{one.frequency_hz:g}' for one in found])} Hz"
