"""Whether the stage kept its setting: a tone that has settled comes back with one gain at any time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from charprobe.measuring.health.pauses.foreign_tones import foreign_lines
from charprobe.measuring.health.pauses.quiet import quiet_spectrum
from charprobe.measuring.health.timeline.steady_gain import BEFORE_END_S, SETTLED_FROM, beats_with
from charprobe.placing.take import Take
from charprobe.placing.tone_course import course_of
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.quantity import DB_PER_NEPER
from charprobe.values.wording import clock_text, number_text, signed_text

LEAST_S, MOST_S = 0.03, 0.3  # of a tone that is read, from its end
LEAST_DB = 0.03  # of a move that is told
LEFT, AFTER_LOUDER, COMES_BACK = 8.0, 24.0, 160.0
"""Times what a gain moves by within a tone that it may still be away from rest: in an attack, where louder
tones were played before, and while it recovers from them, which slow stores do for minutes."""
SAME_DB = 0.01
NOISE = 8.0  # times the standard uncertainty
FEWEST = 2  # levels that must tell


@dataclass(frozen=True)
class _Played:
    """A tone that was played once: whether louder ones were before, its gain, and what the gain moves by."""

    tone: Tone
    later: bool
    gain_db: float
    moves_db: float
    std_db: float


def check_turned_setting(take: Take) -> list[Health]:
    """Compare settled tones of one frequency and level with each other: code ``gain-step``.

    A gain that rests under a tone has forgotten what was played before, so it is the same whenever the tone
    sounds again; where it is not, somebody turned a control in between, and a threshold leaves quiet tones
    alone. What follows a louder tone at once is left out, and what still moves must be outdone by far. Tones
    of two levels must tell, or one that is the loudest yet, and all of them of one moment: a leveller that
    remembers for minutes moves now here, now there.
    """
    spectrum = quiet_spectrum(take)
    lines = () if spectrum is None else foreign_lines(spectrum)
    moves = []
    for same in _repeated(take):
        if beats_with(same[0][0], lines, take.alignment.gain_db):
            continue
        played = [one for tone, later in same if (one := _played(take, tone, later=later)) is not None]
        moves += [pair for pair in pairwise(played) if abs(_moved_db(*pair)) > _explained_db(*pair)]
    levels = {before.tone.level_dbfs for before, _ in moves}
    if len(levels) < FEWEST and all(after.later for _, after in moves):
        return []
    first = max(take.capture_time_s(before.tone.stop) for before, _ in moves)
    last = min(take.capture_time_s(after.tone.start) for _, after in moves)
    if first > last:
        return []
    most = max(moves, key=lambda pair: abs(_moved_db(*pair)))
    tone = most[0].tone
    message = (
        f"The setting was turned during the take, between {clock_text(first)} and {clock_text(last)} "
        f"({take.label}): a settled tone of {number_text(tone.frequency_hz, 0)} Hz at "
        f"{number_text(tone.level_dbfs, 0)} dBFS comes back {signed_text(_moved_db(*most), 2)} dB off. What "
        "lies before and after is of two settings and does not compare; touch nothing and retake. "
        f"{ALL_GIVEN}"
    )
    return [Health("gain-step", "warn", message, channel=take.channel, start_s=first, end_s=last)]


def _moved_db(before: _Played, after: _Played) -> float:
    return after.gain_db - before.gain_db


def _explained_db(before: _Played, after: _Played) -> float:
    """What the gain may have moved by while no control was turned."""
    moved_db = _moved_db(before, after)
    usual = AFTER_LOUDER if after.later else LEFT
    left = (
        COMES_BACK if before.later and before.moves_db * moved_db > 0 else usual,
        COMES_BACK if after.moves_db * moved_db < 0 else usual,
    )
    explained_db = left[0] * abs(before.moves_db) + left[1] * abs(after.moves_db)
    return LEAST_DB + explained_db + NOISE * (before.std_db + after.std_db)


def _repeated(take: Take) -> list[list[tuple[Tone, bool]]]:
    """Tones of one frequency and level that are played again, each with whether louder ones were before.

    Without those that follow a louder one at once.
    """
    groups: dict[tuple[float, float], list[tuple[Tone, bool]]] = {}
    loudest = -math.inf
    for segment in take.stimulus.segments:
        intact, last = set(take.intact(segment).tones) if take.holds(segment) else set(), -math.inf
        for tone in segment.tones:
            if tone in intact and last < tone.level_dbfs + SAME_DB:
                key = tone.frequency_hz, round(tone.level_dbfs, 3)
                groups.setdefault(key, []).append((tone, loudest > tone.level_dbfs + SAME_DB))
            last, loudest = tone.level_dbfs, max(loudest, tone.level_dbfs)
    return [group for group in groups.values() if len(group) > 1]


def _played(take: Take, tone: Tone, *, later: bool) -> _Played | None:
    """Gain of a tone's last part; None where it is short."""
    rate_hz = take.stimulus.rate_hz
    stop = tone.stop - BEFORE_END_S * rate_hz
    begin = max(tone.start + SETTLED_FROM * tone.length, stop - MOST_S * rate_hz)
    course = course_of(take, tone)
    halves = None if course is None or stop - begin < LEAST_S * rate_hz else course.halves(begin, stop)
    if halves is None:
        return None
    early, late = halves
    std_db = max(early.level_std_db, late.level_std_db)
    if not math.isfinite(std_db):
        return None
    first_db, last_db = (DB_PER_NEPER * math.log(abs(half.wave)) - tone.level_dbfs for half in halves)
    return _Played(tone, later, (first_db + last_db) / 2, last_db - first_db, std_db)
