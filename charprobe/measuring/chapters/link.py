"""The link chapter: whether driving one side of a stereo pair moves the other, crosstalk told apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from charprobe.estimators.link import LinkLevel, LinkLevels, link_of, measure_link
from charprobe.measuring.chapters.lookup import Reduction, absent, counterpart
from charprobe.placing.take import Take, held
from charprobe.profile.entry import Cell, Chapter, Entry, Published, Table, cell_of, std_of, unmeasured
from charprobe.stimulus.kinds.link import Link
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.quantity import Quantity, Reading, Unmeasured
from charprobe.values.wording import number_text

NAMES = ("detector.link", "detector.crosstalk")
RECIPE = "link"
LEAST_DB = 0.5  # own reduction from which a level tells the link
LEAK_DB = 0.05  # reduction that crosstalk alone may cause unsaid
NONE, WHOLE = 0.03, 0.97  # link below and above which it is called none and whole
SAME_DB = 6.0  # crosstalk so little above that of the bypass may be the recording path's
TALK_DB = -100.0  # crosstalk below is not worth a sentence
STEADY_STD_DB = 0.003  # by which the gain of a channel may wander between the halves


@dataclass(frozen=True)
class _Row:
    """One level of the drive: what it does to this side when driven, and to its pilot, in dB down."""

    drive_dbfs: float
    own: Quantity | None
    pilot: Quantity | None
    crosstalk: Reading
    bypass_crosstalk: Reading | None


def link_chapter(wet: Take, bypass: Take | None, static: Reduction | None) -> Chapter:
    """Measure the stereo link of a channel from its `link` segment.

    Parameters
    ----------
    wet, bypass : Take
        Captures of the setting and, if there is one, of the bypass.
    static : Reduction or None
        The static curve, to tell what crosstalk alone would do.
    """
    segments = held(wet, Link)
    if not segments:
        return Chapter(quantities=absent(wet, Link, NAMES, recipe=RECIPE))
    segment = segments[0]
    try:
        found = measure_link(segment, wet.segment(segment))
    except SegmentTooShortError as error:
        return Chapter(unmeasured(NAMES, str(error), "longer tones"))
    same = counterpart(bypass, segment)
    path = measure_link(same, bypass.segment(same)) if bypass is not None and same is not None else None
    rows = _rows(found, path, segment.spec.pilot_dbfs)
    driven = f"the other side driven to {number_text(rows[-1].drive_dbfs, 1)} dBFS"
    where = f"side {found.side} of the stimulus; {driven} at {segment.spec.drive_hz:g} Hz"
    leaked = _leaked_db(rows[-1], static, segment.spec.pilot_dbfs)
    link = _link(rows, leaked)
    entries = {
        "detector.link": Entry(link, f"{where}, pilot of {number_text(segment.spec.pilot_dbfs, 0)} dBFS"),
        "detector.crosstalk": Entry(rows[-1].crosstalk, where),
    }
    return Chapter(
        quantities=entries, curves={"link": _table(rows)}, words=lambda read: _words(read, rows[-1])
    )


def _rows(found: LinkLevels, path: LinkLevels | None, pilot_dbfs: float) -> list[_Row]:
    first = found.levels[0]
    rows = []
    for i, level in enumerate(found.levels):
        raised = level.drive_dbfs - first.drive_dbfs
        rows.append(
            _Row(
                level.drive_dbfs,
                _fall(first.own, level.own, raised),
                _fall(first.pilot, level.pilot, 0.0),
                _crosstalk(level, pilot_dbfs),
                None if path is None else _crosstalk(path.levels[i], pilot_dbfs),
            )
        )
    return rows


def _fall(before: Reading, after: Reading, raised_db: float) -> Quantity | None:
    """By how much the gain fell while the level was raised."""
    if not (isinstance(before, Quantity) and isinstance(after, Quantity)):
        return None
    std = math.sqrt(before.std**2 + after.std**2 + STEADY_STD_DB**2)
    return Quantity.from_std(before.value + raised_db - after.value, std, "dB")


def _crosstalk(level: LinkLevel, pilot_dbfs: float) -> Reading:
    """What leaks in from the driven side, as if ahead of this side's gain."""
    if not isinstance(level.pilot, Quantity):
        return Unmeasured("dB", "the pilot does not rise above the noise", "a louder pilot")
    shift = level.drive_dbfs + level.pilot.value - pilot_dbfs
    if isinstance(level.leak, Quantity):
        std = math.hypot(level.leak.std, level.pilot.std)
        return Quantity.from_std(level.leak.value - shift, std, "dB")
    bound = None if level.leak.at_most is None else level.leak.at_most - shift
    return Unmeasured("dB", "no crosstalk rises above the noise", "nothing", at_most=bound)


def _leaked_db(row: _Row, static: Reduction | None, pilot_dbfs: float) -> float | None:
    """Reduction that pilot and crosstalk alone would bring about; None where that is not known."""
    level = row.crosstalk.most
    if static is None or level is None:
        return None
    both = 10 ** (pilot_dbfs / 20) + 10 ** ((row.drive_dbfs + level) / 20)
    return static.reduction_db_at(20 * math.log10(both))


def _link(rows: Sequence[_Row], leaked_db: float | None) -> Reading:
    pairs = [(r.own, r.pilot) for r in rows if r.own and r.pilot and r.own.value >= LEAST_DB]
    if any(row.pilot is None for row in rows):
        return Unmeasured("dB/dB", "the pilot does not rise above the noise", "a louder pilot")
    if not pairs:
        reason = f"this side reduces its gain by less than {LEAST_DB:g} dB at every level of the drive"
        return Unmeasured("dB/dB", reason, "a recipe that drives it harder")
    link = link_of(pairs)
    last_own, last_pilot = pairs[-1]
    if leaked_db is None or leaked_db <= LEAK_DB:
        return link
    if leaked_db > 0.5 * last_pilot.value:
        reason = f"crosstalk alone would reduce the pilot's side by {number_text(leaked_db, 1)} dB"
        return Unmeasured("dB/dB", reason, "mend the crosstalk, or a recipe with a quieter drive")
    return Quantity(link.value, link.low - leaked_db / last_own.value, link.high, "dB/dB")


def _table(rows: Sequence[_Row]) -> Table:
    columns: dict[str, list[Cell]] = {"drive_dbfs": [row.drive_dbfs for row in rows]}
    for name, readings in (
        ("own_reduction", [row.own for row in rows]),
        ("pilot_reduction", [row.pilot for row in rows]),
        ("crosstalk", [row.crosstalk for row in rows]),
        ("bypass_crosstalk", [row.bypass_crosstalk for row in rows]),
    ):
        columns[f"{name}_db"] = [cell_of(reading) for reading in readings]
        columns[f"{name}_std_db"] = [std_of(reading) for reading in readings]
    return Table(columns, {name: "dBFS" if name.endswith("dbfs") else "dB" for name in columns})


def _words(published: Published, row: _Row) -> list[str]:
    link, talk = (published[name].reading for name in NAMES)
    out = []
    drive = number_text(row.drive_dbfs, 1)
    if isinstance(link, Quantity) and row.own is not None and row.pilot is not None:
        own, pilot = number_text(row.own.value, 1), number_text(row.pilot.value, 1)
        if link.high < NONE:
            out.append(f"The sides are not linked: {drive} dBFS on the other side leaves this one alone.")
        elif link.low > WHOLE:
            out.append(f"The sides are linked: {drive} dBFS on the other side takes {pilot} dB off this one.")
        else:
            share = f"{100 * link.value:.0f} %"
            out.append(
                f"The sides are linked in part ({share}): {drive} dBFS takes {own} dB off the side that is "
                f"driven, {pilot} dB off the other."
            )
    path = row.bypass_crosstalk
    if isinstance(talk, Quantity) and talk.value > TALK_DB:
        same = isinstance(path, Quantity) and path.value > talk.value - SAME_DB
        whose = ", most of it in the recording path" if same else ""
        out.append(f"Crosstalk from the driven side is {number_text(talk.value, 1)} dB{whose}.")
    return out
