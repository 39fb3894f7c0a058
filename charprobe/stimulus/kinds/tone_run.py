"""Runs of tones: placing them without phase jumps, and rendering any list of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from charprobe.stimulus.recipe import RAMP_S
from charprobe.stimulus.timetable import Tone
from charprobe.values.arrays import Array

GROUP_GAP_S = 0.002  # a gap this short parts tones whose phases do not join


def ramp_samples(rate_hz: int) -> int:
    """Samples of the soft ramp that starts and ends every run of tones."""
    return round(RAMP_S * rate_hz)


def phase_at(tone: Tone, position: int, *, rate_hz: int) -> float:
    """Carrier phase of `tone`, in [0, 2 pi), at a stimulus position, inside or outside the tone."""
    turns = tone.frequency_hz * (position - tone.start) / rate_hz
    return float((tone.phase_rad + 2 * np.pi * (turns % 1.0)) % (2 * np.pi))


def render_tones(tones: Sequence[Tone], *, start: int, length: int, rate_hz: int) -> Array:
    """Render `tones` into `length` samples that begin at stimulus sample `start`.

    A tone that follows another without a gap moves from its level over `Tone.ramp` samples; any other tone
    rises from silence. A tone that nothing follows fades out within its last `RAMP_S`.
    """
    out = np.zeros(length)
    for i, tone in enumerate(tones):
        before = tones[i - 1] if i and tones[i - 1].stop == tone.start else None
        followed = i + 1 < len(tones) and tones[i + 1].start == tone.stop
        amplitude = 10 ** (tone.level_dbfs / 20)
        envelope = np.full(tone.length, amplitude)
        if tone.ramp:
            origin = 10 ** (before.level_dbfs / 20) if before else 0.0
            rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(tone.ramp) + 0.5) / tone.ramp)
            envelope[: tone.ramp] = origin + (amplitude - origin) * rise[: tone.length]
        if not followed:
            ramp = min(ramp_samples(rate_hz), tone.length)
            envelope[-ramp:] *= 0.5 + 0.5 * np.cos(np.pi * (np.arange(ramp) + 0.5) / ramp)
        # the cosine's argument is kept small so that long tones lose no precision
        turns = (tone.frequency_hz / rate_hz * np.arange(tone.length)) % 1.0
        first = tone.start - start
        out[first : first + tone.length] = envelope * np.cos(2 * np.pi * turns + tone.phase_rad)
    return out
