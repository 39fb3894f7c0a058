"""Dropouts and clicks, found in the running tones: what no level meter sees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.measuring.health.groups import lost_groups
from charprobe.measuring.health.timeline.breaks import Break, find_breaks
from charprobe.placing.take import Take, once
from charprobe.placing.track import finite
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.segment import Segment, Tone
from charprobe.values.arrays import Array, Complex
from charprobe.values.wording import clock_text, number_text, signed_text

AFTER_EDGE_S = (
    0.006  # left out after a tone's first sample and its ramp, while a stage and its filters answer
)
BEFORE_EDGE_S = 0.006  # left out before its last one, for stages that look ahead
SHORTEST_S = 0.012
PHASE_S = 0.01  # of tone on each side of a break that its phase is read from
SURE_DEG = 3.0  # a phase step that is no click: at 997 Hz one sample turns 7.5 degrees
STEP_DB = 0.2  # level that jumps by this much and stays was turned
SHORTEST_RUN = 3  # equal samples that are a gap
STILL = 1e-7  # difference below which samples count as equal
SMALL = 0.01  # of the tone: a click that moves no level
MOVES_DB = 0.003  # within `PHASE_S`, beside a small click: a gain cell at work may tick
LEAST_STEP_DB, ALIKE = 0.03, 0.1  # steps of a stage's own gain: size at least, and share by which they differ
FEWEST_STEPS, FEWEST_TONES = 6, 2  # from which they are told
MOSTLY = 0.75  # share of steps alike: where two come together, what is read is neither
MOST_TOLD = 5  # events told one by one


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
        return self.still >= SHORTEST_RUN or abs(self.phase_deg) >= SURE_DEG


def check_continuity(take: Take) -> tuple[Health, ...]:
    """Look for dropouts and clicks in every steady tone of a placed capture.

    Parameters
    ----------
    take : Take
        A placed capture; its tones are read once.

    Returns
    -------
    tuple of Health
        Codes ``dropout``, ``gain-step`` and ``click``, with times and channel. Gaps and sweeps are not
        judged.
    """
    found = find_events(take)
    own = own_steps(take)
    events = [event for event in found if event not in own]
    told = [*_stepping(take, own), *(_told(take, event) for event in events[:MOST_TOLD])]
    more = events[MOST_TOLD:]
    if more:
        damaged = [e for e in more if e.is_dropout]
        segments = list({e.segment.span: e.segment for e in damaged}.values())
        told.append(
            Health(
                "dropout" if damaged else "click",
                "stop" if damaged else "warn",
                f"{len(more)} more breaks from {_clock(take, more[0].start)} on, channel {take.channel + 1}: "
                "the recording crackles. Enlarge the buffer, close other programs and retake",
                channel=take.channel,
                start_s=more[0].start / take.source.rate_hz,
                end_s=more[-1].stop / take.source.rate_hz,
                withholds=lost_groups(take, segments),
            )
        )
    return tuple(told)


@once
def own_steps(take: Take) -> tuple[Event, ...]:
    """Breaks of a gain that moves in steps of one size, by itself, after a level has changed.

    Within a tone such a gain goes one way; a contact goes back and forth, and a knob is turned once. Where
    steps follow each other closely their size is not read, but none leaves a larger mark than one step does.
    """
    found = [event for event in find_events(take) if not event.is_dropout]
    clear = [event for event in found if abs(event.gain_db) > LEAST_STEP_DB]
    tones = {event.tone for event in clear}
    size_db = float(np.median([abs(event.gain_db) for event in clear])) if clear else 0.0
    alike = [event for event in clear if abs(abs(event.gain_db) - size_db) < ALIKE * size_db]
    one_way = all(len({e.gain_db > 0 for e in clear if e.tone == tone}) == 1 for tone in tones)
    most_alike = len(alike) >= max(FEWEST_STEPS, MOSTLY * len(clear))
    if not most_alike or len(tones) < FEWEST_TONES or not one_way:
        return ()
    most = (1 + ALIKE) * (10 ** (size_db / 20) - 1)
    return tuple(event for event in found if event.share < most)


@once
def find_events(take: Take) -> list[Event]:
    """Breaks in the steady tones of a capture, in the order of the file."""
    events = []
    for segment in take.stimulus.segments:
        for tone in segment.tones:
            events += _in_tone(take, segment, tone)
    return sorted(events, key=lambda event: event.start)


def _in_tone(take: Take, segment: Segment, tone: Tone) -> list[Event]:
    rate_hz, place = take.stimulus.rate_hz, take.alignment
    start = tone.start + tone.ramp + AFTER_EDGE_S * rate_hz
    stop = tone.stop - BEFORE_EDGE_S * rate_hz
    if stop - start < SHORTEST_S * rate_hz:
        return []
    first = max(0, int(np.ceil(place.capture_index(start))))
    last = min(take.source.frames, int(place.capture_index(stop)))
    if last - first < SHORTEST_S * rate_hz:
        return []
    samples = finite(take.source.read(first, last, take.channel))
    frequency_hz = tone.frequency_hz * place.step
    events = []
    for found in find_breaks(samples, frequency_hz=frequency_hz, rate_hz=rate_hz):
        phase_deg, gain_db, moving_db = _jump(samples, found, frequency_hz=frequency_hz, rate_hz=rate_hz)
        share = float(found.height / np.sqrt(2 * np.mean(samples**2)))
        still = _longest_still(samples[max(0, found.start - 2) : found.stop + 3])
        ticks = share < SMALL and abs(moving_db) > MOVES_DB
        start, stop = first + found.start, first + found.stop
        events.append(Event(segment, tone, start, stop, still, phase_deg, gain_db, share, ticks))
    return events


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


def _told(take: Take, event: Event) -> Health:
    where = f"{_clock(take, event.start)}, channel {take.channel + 1}"
    name = event.segment.spec.name
    if event.still >= SHORTEST_RUN:
        what = f"Gap of {event.still} samples at {where}"
    elif event.is_dropout:
        what = f"Phase jumps {abs(event.phase_deg):.0f}° at {where}: samples lost or repeated"
    elif abs(event.gain_db) >= STEP_DB:
        change = signed_text(event.gain_db, 2)
        return Health(
            "gain-step",
            "warn",
            f"Gain steps {change} dB at {where}, in segment {name!r}: a knob was moved, or a pad switched. "
            f"What lies before and after does not compare; retake. {ALL_GIVEN}",
            channel=take.channel,
            start_s=event.start / take.source.rate_hz,
            end_s=event.stop / take.source.rate_hz,
        )
    elif event.ticks:
        message = (
            f"A small click at {where}, in segment {name!r}, while the gain moves: the stage's own, or a "
            "contact's. It moves no number"
        )
        at = (event.start / take.source.rate_hz, event.stop / take.source.rate_hz)
        return Health("click", "note", message, take.channel, start_s=at[0], end_s=at[1])
    else:
        return Health(
            "click",
            "warn",
            f"Click at {where}, in segment {name!r}: the values taken there carry it. Look for crackling "
            "contacts and digital clock trouble, and retake if they matter",
            channel=take.channel,
            start_s=event.start / take.source.rate_hz,
            end_s=event.stop / take.source.rate_hz,
        )
    return Health(
        "dropout",
        "stop",
        f"{what}; segment {name!r} withheld, the rest kept. Enlarge the buffer and retake",
        channel=take.channel,
        start_s=event.start / take.source.rate_hz,
        end_s=event.stop / take.source.rate_hz,
        withholds=lost_groups(take, [event.segment]),
    )


def _stepping(take: Take, own: Sequence[Event]) -> tuple[Health, ...]:
    """Say once that the stage's gain moves in steps."""
    if not own:
        return ()
    size_db = float(np.median([abs(event.gain_db) for event in own if event.gain_db]))
    message = (
        f"The stage's gain moves in steps of {number_text(size_db, 2)} dB ({take.label}): what clicks while "
        f"it moves, {len(own)} times in tones, is its own. Times and threshold are those of the steps, and "
        f"may lie one of them away from where an even gain would put them. {ALL_GIVEN}"
    )
    times = own[0].start / take.source.rate_hz, own[-1].stop / take.source.rate_hz
    return (Health("click", "warn", message, take.channel, start_s=times[0], end_s=times[1]),)


def _clock(take: Take, index: int) -> str:
    return clock_text(index / take.source.rate_hz)
