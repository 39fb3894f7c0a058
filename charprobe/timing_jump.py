"""Where a capture lost or gained samples: the phases of its tones, before and after."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from charprobe.source import Source
from charprobe.stimulus import Stimulus
from charprobe.tone_clock import steady_tones, tone_phases

Array = NDArray[np.float64]

SAME_FIT = 0.02  # of one tone's share: places that explain the phases equally well


@dataclass(frozen=True)
class JumpPlace:
    """Stimulus positions between which samples were lost or inserted."""

    start: float
    stop: float

    @property
    def middle(self) -> float:
        """Half way between both."""
        return (self.start + self.stop) / 2


def place_jump(
    source: Source,
    channel: int,
    stimulus: Stimulus,
    *,
    delay: float,
    drift_ppm: float,
    jump_samples: float,
) -> JumpPlace:
    """Find between which two tones a jump of known size lies.

    Parameters
    ----------
    source, channel, stimulus
        The capture, its channel, and what it should hold.
    delay, drift_ppm : float
        The clock before the jump.
    jump_samples : float
        Samples inserted (positive) or lost (negative).

    Returns
    -------
    JumpPlace
        From the last tone before the jump to the first one after it; the whole stimulus where no tone tells.

    Notes
    -----
    With the right place, all tones of one frequency have one phase: the path's. The place chosen makes the
    phases of every frequency agree best, summed over the frequencies. A jump by whole periods of one
    frequency is seen by the others.
    """
    phases = tone_phases(source, channel, stimulus, steady_tones(stimulus), delay=delay, drift_ppm=drift_ppm)
    if len(phases) < 2:
        return JumpPlace(0.0, float(stimulus.length))
    positions = np.array([p.position for p in phases])
    hz = np.array([p.tone.frequency_hz for p in phases])
    before = np.exp(1j * np.array([p.first_rad + p.advance_rad / 2 for p in phases]))
    after = before * np.exp(2j * np.pi * hz * jump_samples / stimulus.rate_hz)
    groups = (hz[:, None] == np.unique(hz)[None, :]).astype(float)
    left = np.concatenate([np.zeros((1, groups.shape[1])), np.cumsum(groups * before[:, None], axis=0)])
    right = np.cumsum((groups * after[:, None])[::-1], axis=0)[::-1]
    right = np.concatenate([right, np.zeros((1, groups.shape[1]))])
    fit = np.abs(left + right).sum(axis=1)
    good = np.flatnonzero(fit >= fit.max() - SAME_FIT)
    first, last = int(good[0]), int(good[-1])
    start = positions[first - 1] if first > 0 else 0.0
    stop = positions[last] if last < positions.size else float(stimulus.length)
    return JumpPlace(float(start), float(stop))
