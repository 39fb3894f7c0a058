"""Where a capture lost or gained samples: the phases of its tones and sweeps, before and after."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from charprobe.placing.marker_delay import PathPhase
from charprobe.placing.tone_clock import LEAST_CLEAR_DB, steady_tones, tone_phases
from charprobe.placing.track import Clock, Track
from charprobe.stimulus.kinds.segment import Segment
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity

WINDOW_S, STRIDE_S = 0.03, 0.05


@dataclass(frozen=True)
class SweepPhase:
    """Phase of a sweep around one stimulus position, less that of the timetable, in rad.

    `clear` tells whether the sweep stood clear of everything else there.
    """

    position: float
    frequency_hz: float
    phase_rad: float
    clear: bool


def sweep_phases(track: Track, clock: Clock) -> list[SweepPhase]:
    """Measure the phase of all sweeps against a clock.

    The windows are the same whatever the clock; those that reach outside the file are left out.
    """
    stimulus, rate_hz = track.stimulus, track.stimulus.rate_hz
    delay, factor = clock.delay, clock.factor
    count = round(WINDOW_S * rate_hz)
    window = np.hanning(count)
    found = []
    for segment in stimulus.segments:
        if not isinstance(segment.spec, Sweep):
            continue
        for start in _starts(segment, count=count, stride=round(STRIDE_S * rate_hz)):
            first = round(delay + start * factor)
            if first < 0 or first + count > track.source.frames:
                continue
            samples = track.finite(first, first + count) * window
            time_s = ((first + np.arange(count) - delay) / factor - segment.span.start) / rate_hz
            rate_s = segment.spec.length_s / np.log(segment.spec.to_hz / segment.spec.from_hz)
            turns = segment.spec.from_hz * rate_s * np.exp(time_s / rate_s)
            wave = -1j * np.exp(2j * np.pi * (turns % 1.0))
            value = 2 * (samples @ wave.conj()) / window.sum()
            rest = samples - window * np.real(value * wave)
            noise = 2 * float(rest @ rest) / float(window @ window)
            found.append(
                SweepPhase(
                    position=start + count / 2,
                    frequency_hz=float(segment.spec.from_hz * np.exp(time_s[count // 2] / rate_s)),
                    phase_rad=float(np.angle(value)),
                    clear=bool(abs(value) ** 2 > 10 ** (LEAST_CLEAR_DB / 10) * noise),
                )
            )
    return found


def _starts(segment: Segment, *, count: int, stride: int) -> range:
    return range(segment.span.start + stride // 2, segment.span.stop - count - stride // 2, stride)


UNCLEAR = np.pi**2 / 3  # mean square of a phase that may be anything
SAME_FIT = 0.002  # rad squared: what 2.6 degrees of one tone tell is left undecided


@dataclass(frozen=True)
class TimingJump:
    """Samples lost or inserted somewhere in a stretch of a capture.

    Attributes
    ----------
    start, stop : float
        Stimulus positions between which it happened.
    samples : Quantity
        Samples inserted (positive) or lost (negative).
    """

    start: float
    stop: float
    samples: Quantity

    @property
    def middle(self) -> float:
        """Half way between both."""
        return (self.start + self.stop) / 2


def place_jump(track: Track, clock: Clock, *, path: PathPhase, samples: Quantity) -> TimingJump:
    """Find between which two tones a jump of known size lies.

    Parameters
    ----------
    track : Track
        The capture, its channel, and what it should hold.
    clock : Clock
        The clock before the jump.
    path : PathPhase
        What the path did to the phase of the opening marker.
    samples : Quantity
        Samples inserted (positive) or lost (negative).

    Returns
    -------
    TimingJump
        From the last tone before the jump to the first one after it; the whole stimulus where no tone tells.

    Notes
    -----
    With the right place, every tone has the phase that the path gave the opening marker at its frequency.
    The place chosen makes the phases agree best over all tones. A jump by whole periods of one frequency is
    seen by the others.
    """
    stimulus = track.stimulus
    tones = [t for t in steady_tones(stimulus) if path.covers(t.frequency_hz / stimulus.rate_hz)]
    phases = tone_phases(track, tones, clock)
    hz = np.array([p.tone.frequency_hz for p in phases])
    seen = np.array([p.first_rad + p.advance_rad / 2 for p in phases])
    off = seen - path.phase_at(hz / stimulus.rate_hz)
    turn = 2 * np.pi * hz * samples.value / stimulus.rate_hz
    in_sweeps = _sweep_misfits(track, clock, path, samples.value)
    positions = np.concatenate([[p.position for p in phases], in_sweeps[:, 0]])
    if positions.size == 0:
        return TimingJump(0.0, float(stimulus.length), samples)
    order = np.argsort(positions)
    positions = positions[order]
    before = np.concatenate([_squared(off), in_sweeps[:, 1]])[order]
    after = np.concatenate([_squared(off + turn), in_sweeps[:, 2]])[order]
    left = np.concatenate([[0.0], np.cumsum(before)])
    right = np.concatenate([np.cumsum(after[::-1])[::-1], [0.0]])
    misfit = left + right
    good = np.flatnonzero(misfit <= misfit.min() + SAME_FIT)
    first, last = int(good[0]), int(good[-1])
    start = positions[first - 1] if first > 0 else 0.0
    stop = positions[last] if last < positions.size else float(stimulus.length)
    return TimingJump(float(start), float(stop), samples)


def _squared(off_rad: Array) -> Array:
    return np.asarray(np.angle(np.exp(1j * off_rad)) ** 2)


def _sweep_misfits(track: Track, clock: Clock, path: PathPhase, samples: float) -> Array:
    """Position, squared phase error without and with the jump, of each window of a sweep; shape (n, 3)."""
    rate_hz, later = track.stimulus.rate_hz, replace(clock, delay=clock.delay + samples)
    pairs = zip(sweep_phases(track, clock), sweep_phases(track, later), strict=False)
    rows = [
        (before.position, *(_misfit(path, phase, rate_hz) for phase in (before, after)))
        for before, after in pairs
        if (before.clear or after.clear) and path.covers(before.frequency_hz / rate_hz)
    ]
    return np.array(rows).reshape(-1, 3)


def _misfit(path: PathPhase, phase: SweepPhase, rate_hz: float) -> float:
    if not phase.clear or not path.covers(phase.frequency_hz / rate_hz):
        return UNCLEAR
    off = np.array([phase.phase_rad]) - path.phase_at(np.array([phase.frequency_hz / rate_hz]))
    return float(_squared(off)[0])
