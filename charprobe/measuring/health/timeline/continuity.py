"""Dropouts and clicks, found in the running tones: what no level meter sees."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.measuring.health.groups import lost_groups
from charprobe.measuring.health.timeline.breaks import Break, find_breaks
from charprobe.placing.take import Take, once
from charprobe.placing.track import finite
from charprobe.profile.entry import ALL_GIVEN, Health, Severity
from charprobe.stimulus.kinds.segment import Segment, Tone
from charprobe.values.arrays import Array, Complex
from charprobe.values.wording import clock_text, number_text, signed_text

AFTER_EDGE_S = 0.006  # left out after a tone's first sample and ramp, while a stage and its filters answer
BEFORE_EDGE_S = 0.006  # left out before its last one, for stages that look ahead
SHORTEST_S = 0.012
PHASE_S = 0.01  # of tone on each side of a break that its phase is read from
SURE_DEG = 3.0  # a phase step that is no click: at 997 Hz one sample turns 7.5 degrees
SILENT_DB = 30.0  # by which a level jumps where only noise is left on one side, whose phase says nothing
STEP_DB = 0.2  # level that jumps by this much and stays was turned
SHORTEST_RUN = 3  # equal samples that are a gap
STILL = 1e-7  # difference below which samples count as equal
SMALL = 0.01  # of the tone: a click that moves no level
MOVES_DB = 0.003  # within `PHASE_S`, beside a small click: a gain cell at work may tick
FEWEST_TONES = 4  # on either side of a level: of 50 tones just these, by chance, once in 200 000 captures
LOUD_SHARE, QUIET_SHARE = 0.6, 0.1  # of tones with breaks over that level at least, below it at most
SAME_MOMENT_S = 0.002  # of tones played alike, at which what was played breaks them
STANDS_OUT, USUALLY = 6.0, 0.75  # times what so many of the stage's own stay below: that is another's
LEVEL_DB = 0.01  # by which levels written alike may differ
LEAST_STEP_DB = 0.03  # of a stage's own gain, whose size is told


@dataclass(frozen=True)
class Event:
    """A break in one tone of a capture.

    Attributes
    ----------
    segment, tone : Segment, Tone
        Where it lies.
    start, stop : int
        Capture samples.
    still : int
        Longest run of equal samples in it: a gap filled with zeros or a held value; 0 where there is none.
    phase_deg : float
        How far the tone's phase jumps over it, -180 to 180.
    gain_db : float
        How far its level jumps over it, beyond what it moves by beside it.
    share : float
        Height of a click of one sample that leaves such a mark, over the tone's amplitude.
    ticks : bool
        Whether it is a small click while the gain moves: a gain cell may make it, and no number feels it.
    """

    segment: Segment
    tone: Tone
    start: int
    stop: int
    still: int
    phase_deg: float
    gain_db: float
    share: float
    ticks: bool

    @property
    def is_dropout(self) -> bool:
        """Whether samples are missing, lost or repeated, rather than overlaid by a click."""
        turned = abs(self.phase_deg) >= SURE_DEG and abs(self.gain_db) < SILENT_DB
        return self.still >= SHORTEST_RUN or turned


def check_continuity(take: Take) -> tuple[Health, ...]:
    """Look for dropouts and clicks in every steady tone of a placed capture.

    Parameters
    ----------
    take : Take
        A placed capture; its tones are read once.

    Returns
    -------
    tuple of Health
        Codes ``dropout``, ``gain-step``, ``click`` and ``stepped-gain``, with times and channel. Gaps and
        sweeps are not judged.
    """
    found = find_events(take)
    own = own_breaks(take)
    answers = [event for event in _answers(take) if event not in own]
    events = [event for event in found if event not in (*own, *answers)]
    lost = lost_groups(take, list({e.segment.span: e.segment for e in events if e.is_dropout}.values()))
    told = [*_stepping(take, own), *(_told(take, event, lost) for event in events)]
    if answers:
        first, last = answers[0].start, answers[-1].stop
        message = (
            f"{len(answers)} tones played alike break at one moment each, from {_clock(take, first)} on "
            f"({take.label}): the stage answers so, or what was louder before them sounds again"
        )
        at = (first / take.source.rate_hz, last / take.source.rate_hz)
        told.append(Health("click", "note", message, take.channel, *at))
    return tuple(told)


@once
def own_breaks(take: Take) -> tuple[Event, ...]:
    """Breaks that come wherever a tone is loud, and nowhere else: the stage's own gain steps there.

    A contact, a clock or a cable knows nothing of the level. Loud is what sounds, or has sounded in the tone
    before: a gain that steps down steps back afterwards, and a gate may close in one step, after loud tones
    alone. Judged frequency by frequency, since a step leaves no mark beside a tone too high or too low; what
    is told at one is the stage's at all.
    """
    heard = _loudest_of_late(take)
    after = {tone for tone, level_dbfs in heard.items() if level_dbfs > tone.level_dbfs + LEVEL_DB}
    breaks = [event for event in find_events(take) if not event.is_dropout]
    marked = {event.tone for event in breaks}
    stepping: list[tuple[bool, float]] = []  # whether only after a louder tone, and from which level on

    def steps(tone: Tone) -> bool:
        return any(
            heard[tone] >= from_dbfs - LEVEL_DB and (tone in after or not only_after)
            for only_after, from_dbfs in stepping
        )

    for frequency_hz in {tone.frequency_hz for tone in marked}:
        alike = [tone for tone in heard if tone.frequency_hz == frequency_hz]
        level = np.array([heard[tone] for tone in alike])
        broken = np.array([tone in marked for tone in alike])
        falls = np.array([tone in after for tone in alike])
        for only_after, from_dbfs in itertools.product((False, True), sorted(set(level[broken]))):
            loud = (level >= from_dbfs - LEVEL_DB) & (falls | (not only_after))
            often = int(np.sum(broken & loud)) >= max(FEWEST_TONES, LOUD_SHARE * int(np.sum(loud)))
            seldom = np.sum(~loud) >= FEWEST_TONES and np.sum(broken & ~loud) <= QUIET_SHARE * np.sum(~loud)
            if often and seldom:
                stepping.append((only_after, from_dbfs))
                break
    own = [event for event in breaks if steps(event.tone)]
    if len({event.segment.span for event in own}) < 2:
        return ()  # what comes and goes once may have come while it was loud
    usual = float(np.quantile([event.share for event in own], USUALLY))
    return tuple(event for event in own if event.share < STANDS_OUT * usual)


def _answers(take: Take) -> list[Event]:
    """Breaks at one moment of tones played alike and in few others: what was played makes them.

    No lost sample, contact or clock knows when a tone began; an echo of what was louder before it does.
    """
    heard, events = _loudest_of_late(take), find_events(take)
    kinds = {tone: (tone.frequency_hz, tone.level_dbfs, heard[tone], tone.length) for tone in heard}
    played = Counter(kinds.values())
    moments = [(each.tone, each.start - take.alignment.capture_index(each.tone.start)) for each in events]
    reach = SAME_MOMENT_S * take.source.rate_hz
    found = []
    for event, (tone, at) in zip(events, moments, strict=True):
        same = {one for one, when in moments if kinds[one] == kinds[tone] and abs(when - at) < reach}
        if len(same) >= max(FEWEST_TONES, LOUD_SHARE * played[kinds[tone]]):
            found.append(event)
    others = {event.tone for event in events} - {event.tone for event in found}
    return found if len(others) <= QUIET_SHARE * len(heard) else []


def _loudest_of_late(take: Take) -> dict[Tone, float]:
    """Level of each tone that is long enough, or of the one before it where that is louder."""
    found = {}
    for segment in take.stimulus.segments:
        before_dbfs = -math.inf
        for tone in segment.tones:
            if _inner(take, tone) is not None:
                found[tone] = max(tone.level_dbfs, before_dbfs)
            before_dbfs = tone.level_dbfs
    return found


@once
def find_events(take: Take) -> list[Event]:
    """Breaks in the steady tones of a capture, in the order of the file."""
    events = []
    for segment in take.stimulus.segments:
        for tone in segment.tones:
            events += _in_tone(take, segment, tone)
    return sorted(events, key=lambda event: event.start)


def _in_tone(take: Take, segment: Segment, tone: Tone) -> list[Event]:
    rate_hz, inner = take.stimulus.rate_hz, _inner(take, tone)
    if inner is None:
        return []
    first, last = inner
    samples = finite(take.source.read(first, last, take.channel))
    frequency_hz = tone.frequency_hz * take.alignment.step
    events = []
    for found in find_breaks(samples, frequency_hz=frequency_hz, rate_hz=rate_hz):
        phase_deg, gain_db, moving_db = _jump(samples, found, frequency_hz=frequency_hz, rate_hz=rate_hz)
        share = float(found.height / np.sqrt(2 * np.mean(samples**2)))
        still = _longest_still(samples[max(0, found.start - 2) : found.stop + 3])
        ticks = share < SMALL and abs(moving_db) > MOVES_DB
        start, stop = first + found.start, first + found.stop
        events.append(Event(segment, tone, start, stop, still, phase_deg, gain_db, share, ticks))
    return events


def _inner(take: Take, tone: Tone) -> tuple[int, int] | None:
    """Capture samples of a tone without its edges; None where too few are left."""
    rate_hz, place = take.stimulus.rate_hz, take.alignment
    start = tone.start + tone.ramp + AFTER_EDGE_S * rate_hz
    stop = tone.stop - BEFORE_EDGE_S * rate_hz
    first = max(0, int(np.ceil(place.capture_index(start))))
    last = min(take.source.frames, int(place.capture_index(stop)))
    return (first, last) if min(stop - start, last - first) >= SHORTEST_S * rate_hz else None


def _longest_still(samples: Array) -> int:
    """Length of the longest run of equal samples, 0 if no two neighbours are equal."""
    moves = np.flatnonzero(np.abs(np.diff(samples)) > STILL)
    edges = np.concatenate([[-1], moves, [samples.size - 1]])
    longest = int(np.diff(edges).max())
    return longest if longest > 1 else 0


def _jump(samples: Array, found: Break, *, frequency_hz: float, rate_hz: float) -> tuple[float, float, float]:
    """Phase in degrees and level in dB by which a tone jumps over a break, and its level's move beside it.

    0 where too little tone tells.
    """
    reach = round(max(PHASE_S, 3 / frequency_hz) * rate_hz)
    before, after = found.start - 4, found.stop + 4
    far, near = _tone(samples, before - 2 * reach, before - reach), _tone(samples, before - reach, before)
    next_, last = _tone(samples, after, after + reach), _tone(samples, after + reach, after + 2 * reach)
    turns = np.exp(2j * np.pi * frequency_hz / rate_hz * np.arange(samples.size))
    sizes = [_phasor(samples, turns, piece[0]) for piece in (far, near, next_, last)]
    levels = 20 * np.log10(np.maximum(np.abs(sizes), 1e-12))
    moves = [
        float(late - early)
        for piece, early, late in ((far, levels[0], levels[1]), (last, levels[2], levels[3]))
        if piece[1] >= reach
    ]
    # what moves beside the break moves over it, too: centres lie one reach apart on either side
    moving_db = sum(moves) / len(moves) if moves else 0.0
    if min(near[1], next_[1]) < 2 * rate_hz / frequency_hz:
        return 0.0, 0.0, moving_db
    phase_deg = float(np.degrees(np.angle(sizes[2] * sizes[1].conjugate())))
    whole = len(moves) == 2 and min(map(abs, sizes)) > 0
    return phase_deg, float(levels[2] - levels[1] - moving_db) if whole else 0.0, moving_db


def _tone(samples: Array, start: int, stop: int) -> tuple[slice, int]:
    """A stretch inside the samples, and its length."""
    inside = slice(max(0, start), max(0, min(stop, samples.size)))
    return inside, max(0, inside.stop - inside.start)


def _phasor(samples: Array, turns: Complex, piece: slice) -> complex:
    """Complex amplitude of the tone that turns with `turns`, over one stretch."""
    if piece.stop <= piece.start:
        return 0j
    basis = np.stack([turns.real[piece], turns.imag[piece], np.ones(piece.stop - piece.start)], axis=1)
    cosine, sine, _ = np.linalg.lstsq(basis, samples[piece], rcond=None)[0]
    return complex(cosine, -sine)


def _told(take: Take, event: Event, lost: tuple[str, ...]) -> Health:
    where = f"{_clock(take, event.start)}, channel {take.channel + 1}"
    name, code = event.segment.spec.name, "click"
    severity: Severity = "warn"
    if event.is_dropout:
        code, severity = "dropout", "stop"
        what = f"Phase jumps {abs(event.phase_deg):.0f}° at {where}: samples lost or repeated"
        if event.still >= SHORTEST_RUN:
            what = f"Gap of {event.still} samples at {where}"
        message = f"{what}; segment {name!r} withheld, the rest kept. Enlarge the buffer and retake"
    elif abs(event.gain_db) >= STEP_DB:
        code, change = "gain-step", signed_text(event.gain_db, 2)
        message = (
            f"Gain steps {change} dB at {where}, in segment {name!r}: a knob was moved, or a pad switched. "
            f"What lies before and after does not compare; retake. {ALL_GIVEN}"
        )
    elif event.ticks:
        severity = "note"
        message = (
            f"A small click at {where}, in segment {name!r}, while the gain moves: the stage's own, or a "
            "contact's. It moves no number"
        )
    else:
        message = (
            f"Click at {where}, in segment {name!r}: the values taken there carry it. Look for crackling "
            "contacts and digital clock trouble, and retake if they matter"
        )
    times = event.start / take.source.rate_hz, event.stop / take.source.rate_hz
    return Health(code, severity, message, take.channel, *times, lost if event.is_dropout else ())


def _stepping(take: Take, own: Sequence[Event]) -> tuple[Health, ...]:
    """Say once that the stage's gain moves in steps."""
    if not own:
        return ()
    sizes_db = [abs(event.gain_db) for event in own if abs(event.gain_db) > LEAST_STEP_DB]
    of_db = f" of {number_text(float(np.median(sizes_db)), 2)} dB" if len(sizes_db) >= FEWEST_TONES else ""
    message = (
        f"The stage's gain moves in steps{of_db} ({take.label}): what clicks while it moves, {len(own)} "
        "times in loud tones and those after them and nowhere else, is its own; a click of the path there "
        "would not be told from it. Harmonics of such tones hold the clicks. Times and "
        "threshold are those of the steps, and may lie one of them away "
        f"from where an even gain would put them. {ALL_GIVEN}"
    )
    times = own[0].start / take.source.rate_hz, own[-1].stop / take.source.rate_hz
    return (Health("stepped-gain", "warn", message, take.channel, start_s=times[0], end_s=times[1]),)


def _clock(take: Take, index: int) -> str:
    return clock_text(index / take.source.rate_hz)
