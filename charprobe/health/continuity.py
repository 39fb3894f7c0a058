"""Dropouts and clicks, found in the running tones: what no level meter sees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from charprobe.chapter import Health
from charprobe.health.breaks import Break, find_breaks
from charprobe.health.clock_text import clock_text
from charprobe.health.groups import lost_groups
from charprobe.stimulus import Segment, Tone
from charprobe.take import Take

Array = NDArray[np.float64]

AFTER_EDGE_S = (
    0.006  # left out after a tone's first sample and its ramp, while a stage and its filters answer
)
BEFORE_EDGE_S = 0.006  # left out before its last one, for stages that look ahead
SHORTEST_S = 0.012
PHASE_S = 0.01  # of tone on each side of a break that its phase is read from
SURE_DEG = 3.0  # a phase step that is no click: at 997 Hz one sample turns 7.5 degrees
SHORTEST_RUN = 3  # equal samples that are a gap
STILL = 1e-7  # difference below which samples count as equal
MOST_TOLD = 12  # events told one by one


@dataclass(frozen=True)
class Event:
    """A break in one tone of a capture.

    Attributes
    ----------
    segment : Segment
        Where it lies.
    start, stop : int
        Capture samples.
    still : int
        Longest run of equal samples in it: a gap filled with zeros or a held value; 0 where there is none.
    phase_deg : float
        How far the tone's phase jumps over it, -180 to 180.
    """

    segment: Segment
    start: int
    stop: int
    still: int
    phase_deg: float

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
        Codes ``dropout`` and ``click``, with times and channel. Gaps and sweeps are not judged.
    """
    events = find_events(take)
    told = [_told(take, event) for event in events[:MOST_TOLD]]
    more = events[MOST_TOLD:]
    if more:
        damaged = [e for e in more if e.is_dropout]
        segments = list({id(e.segment): e.segment for e in damaged}.values())
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
    samples = np.nan_to_num(take.source.read(first, last, take.channel), nan=0.0, posinf=0.0, neginf=0.0)
    frequency_hz = tone.frequency_hz * place.step
    return [
        Event(
            segment,
            first + found.start,
            first + found.stop,
            _longest_still(samples[max(0, found.start - 2) : found.stop + 3]),
            _phase_jump_deg(samples, found, frequency_hz=frequency_hz, rate_hz=rate_hz),
        )
        for found in find_breaks(samples, frequency_hz=frequency_hz, rate_hz=rate_hz)
    ]


def _longest_still(samples: Array) -> int:
    """Length of the longest run of equal samples, 0 if no two neighbours are equal."""
    moves = np.flatnonzero(np.abs(np.diff(samples)) > STILL)
    edges = np.concatenate([[-1], moves, [samples.size - 1]])
    longest = int(np.diff(edges).max())
    return longest if longest > 1 else 0


def _phase_jump_deg(samples: Array, found: Break, *, frequency_hz: float, rate_hz: float) -> float:
    """Phase of the tone after a break less that before it; 0 where there is too little tone to tell."""
    reach = round(max(PHASE_S, 3 / frequency_hz) * rate_hz)
    sides = (
        slice(max(0, found.start - 4 - reach), max(0, found.start - 4)),
        slice(found.stop + 4, found.stop + 4 + reach),
    )
    phases = []
    for side in sides:
        piece = samples[side]
        if piece.size < 2 * rate_hz / frequency_hz:
            return 0.0
        places = np.arange(samples.size)[side]
        turns = 2 * np.pi * frequency_hz / rate_hz * places
        basis = np.stack([np.cos(turns), np.sin(turns), np.ones(piece.size)], axis=1)
        cosine, sine, _ = np.linalg.lstsq(basis, piece, rcond=None)[0]
        phases.append(np.arctan2(-sine, cosine))
    return float(np.degrees(np.angle(np.exp(1j * (phases[1] - phases[0])))))


def _told(take: Take, event: Event) -> Health:
    where = f"{_clock(take, event.start)}, channel {take.channel + 1}"
    name = event.segment.spec.name
    if event.still >= SHORTEST_RUN:
        what = f"Gap of {event.still} samples at {where}"
    elif event.is_dropout:
        what = f"Phase jumps {abs(event.phase_deg):.0f}° at {where}: samples lost or repeated"
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


def _clock(take: Take, index: int) -> str:
    return clock_text(index / take.source.rate_hz)
