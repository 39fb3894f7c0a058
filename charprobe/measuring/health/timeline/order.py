"""Whether everything sounds where it was played: segments and pieces of them that stand somewhere else."""

from __future__ import annotations

import numpy as np

from charprobe.measuring.health.groups import groups_of, lost_groups
from charprobe.placing.segment_search import (
    BANDS,
    GLANCE_HOPS,
    LEAD_HOPS,
    WINDOW_HOPS,
    band_levels,
    hop_samples,
    matches,
    segment_glance,
    segment_levels,
)
from charprobe.placing.take import Take
from charprobe.profile.entry import Health
from charprobe.stimulus.kinds.segment import Segment
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.arrays import Array
from charprobe.values.wording import clock_text

FOUND, ELSEWHERE = 0.4, 0.8  # match of a segment at its place, and of one that stands somewhere else
SURE = 0.6  # match in every tenth row that leaves no doubt
NEAR_HOPS = 3  # by which a place may be off
PIECE_HOPS = 50  # half a second: five rows of a first look
AROUND_HOPS = 3000  # before and behind the stimulus that are searched too
FAR_HOPS = 100  # a piece found nearer belongs to its neighbours
SOUNDING_DB = 2.0  # mean over bands and time, above the floor
FEWEST_PIECES = 2


def check_order(take: Take) -> list[Health]:
    """Look for segments and their pieces at their places: codes ``reordered``, ``stimulus-not-found``.

    A segment counts as absent when nothing like it sounds at its place; it counts as moved when it stands
    somewhere else. A piece counts as exchanged when what sounds in its place is another piece of the
    stimulus, so mutes, gates and foreign sounds never count.

    Parameters
    ----------
    take : Take
        A placed capture; it is read once.

    Notes
    -----
    A first look reads the levels of every tenth of a second; only where something does not match at its
    place are they read in full and looked for elsewhere.
    """
    source, place, stimulus = take.source, take.alignment, take.stimulus
    if all(_in_place(take, s) for s in stimulus.alike if s.spec.kind != "silence" and take.holds(s)):
        return []
    hop = hop_samples(stimulus.rate_hz)
    base = max(0, round(place.capture_index(0.0) / hop) - AROUND_HOPS)
    end = round(place.capture_index(float(stimulus.length)) / hop) + AROUND_HOPS
    levels = band_levels(source, take.channel, start=base * hop, stop=end * hop, gain_db=place.gain_db)
    patterns = {s.span.start: segment_levels(s, rate_hz=stimulus.rate_hz) for s in stimulus.alike}
    elsewhere: list[tuple[float, str]] = []
    absent: list[Segment] = []
    for segment in stimulus.alike:
        if segment.spec.kind == "silence" or not take.holds(segment):
            continue
        pattern = patterns[segment.span.start]
        row = round(place.capture_index(float(segment.span.start)) / hop) - LEAD_HOPS - base
        here = matches(pattern, levels[max(0, row - NEAR_HOPS) : row + pattern.shape[0] + NEAR_HOPS])
        if here.size == 0 or here.max() >= FOUND:
            continue
        match = matches(pattern, levels)
        best = int(np.argmax(match))
        if match[best] >= ELSEWHERE:
            at_s = (base + best + LEAD_HOPS) * hop / stimulus.rate_hz
            elsewhere.append((at_s, f"{segment.spec.name!r} at {clock_text(at_s)}"))
        else:
            absent.append(segment)
    if not elsewhere:
        elsewhere = _exchanged(take, levels, _timetable(stimulus, patterns), base=base)
    lost = [_absent(take, segment) for segment in absent]
    return [*(_reordered(take, at_s, text) for at_s, text in sorted(elsewhere)), *lost]


def _in_place(take: Take, segment: Segment) -> bool:
    """Whether a segment, and every piece of it that sounds, is beyond doubt what was played there."""
    rate_hz, place = take.stimulus.rate_hz, take.alignment
    hop = hop_samples(rate_hz)
    pattern = segment_glance(segment, rate_hz=rate_hz)
    start = round(place.capture_index(float(segment.span.start))) - LEAD_HOPS * hop
    stop = start + ((pattern.shape[0] - 1) * GLANCE_HOPS + WINDOW_HOPS) * hop
    levels = band_levels(
        take.source, take.channel, start=start, stop=stop, gain_db=place.gain_db, every=GLANCE_HOPS
    )
    if levels.shape != pattern.shape or matches(pattern, levels)[0] < SURE:
        return False
    rows = PIECE_HOPS // GLANCE_HOPS
    pieces = (slice(at, at + rows) for at in range(LEAD_HOPS // GLANCE_HOPS, len(pattern) - rows, rows))
    return all(
        levels[piece].mean() < SOUNDING_DB or matches(pattern[piece], levels[piece])[0] >= SURE
        for piece in pieces
    )


def _timetable(stimulus: Stimulus, patterns: dict[int, Array]) -> Array:
    """Levels of the whole stimulus as it was played, shape (hops, bands)."""
    hop = hop_samples(stimulus.rate_hz)
    rows = np.zeros((stimulus.length // hop + 1, BANDS))
    for start, pattern in patterns.items():
        first = round(start / hop)
        sounding = pattern[LEAD_HOPS:-LEAD_HOPS]
        rows[first : first + sounding.shape[0]] = sounding[: rows.shape[0] - first]
    return rows


def _exchanged(take: Take, levels: Array, played: Array, *, base: int) -> list[tuple[float, str]]:
    """Stretches in whose place another piece of the stimulus sounds: time in s and words for each.

    `levels` begin `base` hops after the capture's first sample.
    """
    rate_hz = take.stimulus.rate_hz
    hop = hop_samples(rate_hz)
    count, found = 0, []
    last = ""
    for segment in take.stimulus.alike:
        if segment.spec.kind == "silence":
            continue
        for first in range(segment.span.start // hop, segment.span.stop // hop - PIECE_HOPS, PIECE_HOPS):
            row = round(take.alignment.capture_index(float(first * hop)) / hop) - base
            around = levels[max(0, row - NEAR_HOPS) : row + PIECE_HOPS + NEAR_HOPS]
            heard = levels[max(0, row) : row + PIECE_HOPS]
            if heard.shape[0] < PIECE_HOPS or heard.mean() < SOUNDING_DB:
                continue
            if matches(played[first : first + PIECE_HOPS], around).max() >= FOUND:
                continue
            match = matches(heard, played)
            match[max(0, first - FAR_HOPS) : first + FAR_HOPS] = 0.0
            best = int(np.argmax(match))
            if match[best] >= ELSEWHERE:
                at_s = (base + row) * hop / rate_hz
                when = "later" if best > first else "earlier"
                if when != last:
                    found.append((at_s, f"from {clock_text(at_s)} on sounds what belongs {when}"))
                count, last = count + 1, when
    return found if count >= FEWEST_PIECES else []


def _reordered(take: Take, at_s: float, text: str) -> Health:
    message = (
        f"Segments stand in another order than played ({take.label}: {text}): edited after the recording. "
        "Export again unedited"
    )
    withheld = groups_of(take.stimulus.segments)
    return Health("reordered", "stop", message, take.channel, start_s=at_s, withholds=withheld)


def _absent(take: Take, segment: Segment) -> Health:
    start_s, end_s = (take.capture_time_s(float(p)) for p in (segment.span.start, segment.span.stop))
    message = (
        f"Segment {segment.spec.name!r} does not sound at its place ({take.label}, {clock_text(start_s)} "
        f"to {clock_text(end_s)}): muted, gated or overlaid. Other segments kept; look at the path there "
        "and retake"
    )
    lost = lost_groups(take, [segment])
    return Health("stimulus-not-found", "stop", message, take.channel, start_s, end_s, lost)
