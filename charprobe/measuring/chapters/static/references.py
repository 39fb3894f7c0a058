"""Tones outside of the level steps: what the gain of a path was at other times than theirs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from charprobe.estimators.tone import fit_tone
from charprobe.placing.take import Take, held, once
from charprobe.stimulus.kinds.segment import Tone
from charprobe.stimulus.kinds.steady import Silence, Tones
from charprobe.values.quantity import Quantity

SAME_TONE = 0.01  # of frequency, within which another tone has the gain of the steps
SETTLED_FROM, GUARD_S = (0.3, 0.5, 0.7), 0.01  # shares of a tone left out at its start, and time at its end
MOVES = 4.0  # standard uncertainties by which both halves of what is read must differ to leave more out
LEFT = 8.0  # times what a gain moves by from half to half that it may still be away from rest
MOST_STD_DB = 0.03  # of a level that is used
MOVED_DB = 0.01  # by which silence had moved a gain, if so much of it comes back within a tone


@dataclass(frozen=True)
class QuietTone:
    """A tone of known level: when it sounded, what was played, what came back."""

    time_s: float
    played_dbfs: float
    level: Quantity


def quiet_tones(take: Take, *, frequency_hz: float) -> tuple[QuietTone, ...]:
    """Read tones of the frequency of a take's level steps: beside silences, and among tones that rise."""
    found = []
    for segment in (*held(take, Silence), *held(take, Tones)):
        for tone in take.intact(segment).tones:
            if abs(tone.frequency_hz / frequency_hz - 1) < SAME_TONE and (level := _level(take, tone)):
                found.append(QuietTone(take.capture_time_s(tone.start), tone.level_dbfs, level))
    return tuple(found)


@once
def moved_by_silence(take: Take) -> bool:
    """Whether the gain under any of these tones begins elsewhere than it rests."""
    return any(abs(found[0][0].value - found[-1][0].value) > MOVED_DB for found in _all_readings(take))


@once
def left_by_silence_db(take: Take) -> float:
    """How far the gain may still be from rest at the end of these tones, as it moves there."""
    return max((LEFT * found[-1][1] for found in _all_readings(take)), default=0.0)


def _all_readings(take: Take) -> list[list[tuple[Quantity, float]]]:
    tones = [tone for segment in held(take, Silence) for tone in segment.tones]
    return [found for tone in tones if (found := list(_readings(take, tone)))]


def _level(take: Take, tone: Tone) -> Quantity | None:
    """Level of a tone where it no longer moves; None where it cannot be read, or moves to its end."""
    return next((x for x, moves_db in _readings(take, tone) if moves_db == 0 and x.std < MOST_STD_DB), None)


def _readings(take: Take, tone: Tone) -> Iterator[tuple[Quantity, float]]:
    """Level of a tone, ever more of its start left out until it rests, and how far it moves in dB."""
    end = tone.stop - GUARD_S * take.stimulus.rate_hz
    for share in SETTLED_FROM:
        begin = tone.start + share * tone.length
        middle = (begin + end) / 2
        whole, first, second = (
            _read(take, tone, *part) for part in ((begin, end), (begin, middle), (middle, end))
        )
        if whole is None or first is None or second is None:
            return
        moves_db = abs(first.value - second.value)
        rests = moves_db < MOVES * math.hypot(first.std, second.std)
        yield whole, 0.0 if rests else moves_db
        if rests:
            return


def _read(take: Take, tone: Tone, begin: float, end: float) -> Quantity | None:
    cut = take.cut(begin, end)
    if cut.samples.size * cut.step < (end - begin) / 2 or not cut.samples.any():
        return None
    found = fit_tone(
        cut, frequency_hz=tone.frequency_hz, phase_origin=float(tone.start), orders=1, refine=True
    ).level(1)
    return found if isinstance(found, Quantity) else None
