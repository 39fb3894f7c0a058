"""Where a capture lost or gained samples: the phases of its tones, before and after."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from charprobe.marker_delay import PathPhase
from charprobe.quantity import Quantity
from charprobe.source import Source
from charprobe.stimulus import Stimulus
from charprobe.tone_clock import steady_tones, tone_phases

Array = NDArray[np.float64]

SAME_FIT = 0.002  # rad squared: what 2.6 degrees of one tone tell is left undecided


@dataclass(frozen=True)
class Jump:
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


def place_jump(
    source: Source,
    channel: int,
    stimulus: Stimulus,
    *,
    path: PathPhase,
    delay: float,
    drift_ppm: float,
    samples: Quantity,
) -> Jump:
    """Find between which two tones a jump of known size lies.

    Parameters
    ----------
    source, channel, stimulus
        The capture, its channel, and what it should hold.
    path : PathPhase
        What the path did to the phase of the opening marker.
    delay, drift_ppm : float
        The clock before the jump.
    samples : Quantity
        Samples inserted (positive) or lost (negative).

    Returns
    -------
    Jump
        From the last tone before the jump to the first one after it; the whole stimulus where no tone tells.

    Notes
    -----
    With the right place, every tone has the phase that the path gave the opening marker at its frequency.
    The place chosen makes the phases agree best over all tones. A jump by whole periods of one frequency is
    seen by the others.
    """
    tones = [t for t in steady_tones(stimulus) if path.covers(t.frequency_hz / stimulus.rate_hz)]
    phases = tone_phases(source, channel, stimulus, tones, delay=delay, drift_ppm=drift_ppm)
    if not phases:
        return Jump(0.0, float(stimulus.length), samples)
    positions = np.array([p.position for p in phases])
    hz = np.array([p.tone.frequency_hz for p in phases])
    seen = np.array([p.first_rad + p.advance_rad / 2 for p in phases])
    off = seen - path.phase_at(hz / stimulus.rate_hz)
    turn = 2 * np.pi * hz * samples.value / stimulus.rate_hz
    before = np.angle(np.exp(1j * off)) ** 2
    after = np.angle(np.exp(1j * (off + turn))) ** 2
    left = np.concatenate([[0.0], np.cumsum(before)])
    right = np.concatenate([np.cumsum(after[::-1])[::-1], [0.0]])
    misfit = left + right
    good = np.flatnonzero(misfit <= misfit.min() + SAME_FIT)
    first, last = int(good[0]), int(good[-1])
    start = positions[first - 1] if first > 0 else 0.0
    stop = positions[last] if last < positions.size else float(stimulus.length)
    return Jump(float(start), float(stop), samples)
