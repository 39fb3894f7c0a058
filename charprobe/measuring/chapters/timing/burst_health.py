"""What is wrong with bursts, in words: starts that are not at rest, edges too quick or not finished."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from charprobe.measuring.chapters.timing.rows import MOST_LEFT, BurstRow
from charprobe.profile.entry import Entry, Health, Severity
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.recipe import MAX_RATE_HZ
from charprobe.values.quantity import Quantity, Unmeasured
from charprobe.values.wording import number_text

UNEVEN = 0.02  # share by which the depths of bursts may differ for their releases to be compared
FOLLOWS_DB = 0.05  # difference of the first burst from the others that is told
MEMORY = 0.05  # release times must differ by this share for the stage to be called history-dependent


def is_reference(row: BurstRow) -> bool:
    """Whether a set of bursts is the one that the quantities of attack and release are told of."""
    return isinstance(row.segment.spec, Bursts) and row.segment.spec.reference


def remembers(memory: Quantity, rows: Sequence[BurstRow]) -> bool:
    """Tell memory from a burst that was merely too short for the attack to finish."""
    depths = [abs(row.release.change.value) for row in rows if isinstance(row.release.change, Quantity)]
    even = bool(depths) and max(depths) < (1 + UNEVEN) * min(depths)
    return even and (memory.low > 1 + MEMORY or memory.high < 1 - MEMORY)


def _finer(row: BurstRow, recipe: str) -> str:
    """Say which stimulus would resolve more, as a command."""
    trace = row.attack_trace
    rate_hz = 1 / trace.sample_s
    if trace.repeats == 1:
        return "a recipe with carrier phases, such as standard, resolves more."
    if rate_hz < 0.75 * MAX_RATE_HZ:
        finer_ms = 1e3 * trace.resolution_s * rate_hz / MAX_RATE_HZ
        return (
            f"the same recipe at {MAX_RATE_HZ} Hz (charprobe stimulus {recipe} --rate {MAX_RATE_HZ} --out "
            f"FILE.wav) resolves {finer_ms:.2g} ms."
        )
    return "no shipped recipe resolves more."


def reference_health(row: BurstRow, entries: dict[str, Entry], channel: int, recipe: str) -> list[Health]:
    """What limits the times of the reference step: resolution, odd or first bursts, an unfinished attack."""
    limit = row.attack_trace.resolution_s
    ahead = isinstance(entries["attack.lookahead"].reading, Quantity)  # what is done early is not too fast
    low = [
        edge
        for edge in (("release",) if ahead else ("attack", "release"))
        if any(
            name.startswith((f"{edge}.t", f"{edge}.within"))
            and isinstance(entry.reading, Unmeasured)
            and entry.reading.at_most is not None  # a time is bounded from above where it is below resolution
            for name, entry in entries.items()
        )
    ]
    out = []
    if low:
        message = (
            f"Times of the {' and the '.join(low)} lie below {limit * 1e3:.3g} ms, the limit of "
            f"{row.attack_trace.repeats} bursts of a {row.carrier_hz:g} Hz carrier at this sampling rate. "
            f"Bounds are given instead of numbers; {_finer(row, recipe)}"
        )
        out.append(Health("below-resolution", "note", message, channel, row.start_s, row.end_s))
    if row.left_out is not None:
        count = row.attack_trace.repeats + 1
        message = (
            f"Burst {row.left_out.repetition + 1} of {count} starts {number_text(row.left_out.off_db, 2)} dB "
            f"off the gain that the others start from: the attack is that of the other {count - 1}. Use a "
            "recipe with longer gaps, such as timing."
        )
        out.append(Health("gap-too-short", "note", message, channel, row.start_s, row.end_s))
    out += _first_burst_health(row, channel)
    if not row.attack.settled:
        message = (
            f"The gain was still falling at the end of the {row.hold_s:g} s burst: attack times are bounds. "
            "Use a recipe with a longer hold, such as timing."
        )
        out.append(Health("unsettled", "warn", message, channel, row.start_s, row.end_s))
    return out


def _first_burst_health(row: BurstRow, channel: int) -> list[Health]:
    """Say so where the first burst of the set stands for all, as it alone comes after a rest."""
    apart = {
        trace.edge: first
        for trace in (row.attack_trace, row.release_trace)
        if (first := trace.first) is not None and first.most_db > FOLLOWS_DB
    }
    where = channel, row.start_s, row.end_s
    if row.charged:
        ends = row.release_trace.scatter.after_db.mean(axis=1)
        message = (
            "Each burst leaves something behind: at the end of their records the releases lie "
            f"{number_text(float(np.ptp(ends)), 2)} dB apart, each farther on than the one before, and all "
            f"bursts start {number_text(row.starts_short_db, 2)} dB below the gain at rest. Release times "
            "are those of these bursts, with intervals that reach from the first to the last; from rest it "
            "takes another time. Harmonics under gain reduction may change while a tone lasts. Use a recipe "
            "with longer gaps, such as timing."
        )
        return [Health("history-dependent", "warn", message, *where)]
    if not apart:
        return []
    edges, most = " and ".join(apart), max(first.most_db for first in apart.values())
    if not any(first.alone for first in apart.values()):
        message = (
            f"The first burst, which follows a longer rest, differs from the others in its {edges} by up to "
            f"{number_text(most, 2)} dB: what senses the level had not come to rest between the others. "
            "Times are those of the first."
        )
        return [Health("gap-too-short", "note", message, *where)]
    message = (
        f"Each burst leaves something behind: from one to the next the {edges} moves on, by up to "
        f"{number_text(most, 2)} dB in all. Times are those of the first burst, with intervals that reach "
        "over the difference, and harmonics under gain reduction may change while a tone lasts. Use a "
        "recipe with longer gaps, such as timing."
    )
    return [Health("history-dependent", "warn", message, *where)]


def gap_health(rows: Sequence[BurstRow], channel: int) -> list[Health]:
    """One finding for all conditions whose recovery was not seen to its end."""
    short = [row for row in rows if _unfinished(row) or row.starts_short_db]
    if not short:
        return []
    row = next((r for r in short if is_reference(r)), short[0])
    least = row.release.t90.at_least if isinstance(row.release.t90, Unmeasured) else None
    known = "" if not least else f" t90 is at least {least:.3g} s."
    others = "" if len(short) == 1 else f" So were {len(short) - 1} other conditions; see the table `timing`."
    if row.starts_short_db:
        others += (
            f" Each burst starts {row.starts_short_db:.2g} dB below the gain at rest, which makes its attack "
            "times doubtful."
        )
    message = (
        f"Release unfinished {row.release.end_s:.3g} s after the {row.hold_s:g} s burst to "
        f"{number_text(row.to_dbfs, 1)} dBFS.{known}{others} Use a recipe with longer gaps, such as timing."
    )
    severity: Severity = "warn" if is_reference(row) else "note"
    return [Health("gap-too-short", severity, message, channel, row.start_s, row.end_s)]


def _unfinished(row: BurstRow) -> bool:
    beyond = isinstance(row.release.t90, Unmeasured) and row.release.t90.at_least is not None
    return not row.release.settled or row.release.left > MOST_LEFT or beyond


def history(memory: Quantity, rows: Sequence[BurstRow], channel: int) -> Health:
    """Say that releases depend on how long the level was high."""
    holds = [row.hold_s for row in rows]
    message = (
        f"The release depends on what came before: {memory.value:.2f} times as long after {max(holds):g} s "
        f"of high level as after {min(holds):g} s. One release time does not describe it; see the table "
        "`timing`."
    )
    return Health("history-dependent", "note", message, channel, rows[0].start_s, rows[-1].end_s)
