"""Where a capture lost or gained samples: the phases of its tones, before and after."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from charprobe.placing.marker_delay import PathPhase
from charprobe.placing.sweep_clock import SweepPhase, sweep_phases
from charprobe.placing.tone_clock import steady_tones, tone_phases
from charprobe.placing.track import Clock, Track
from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity

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
