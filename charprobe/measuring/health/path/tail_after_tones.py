"""What rings on at a tone's own frequency after it has ended, where quiet markers show no tail."""

from __future__ import annotations

import math

import numpy as np

from charprobe.measuring.health.pauses.quiet import pauses
from charprobe.placing.take import Take
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array

LOUD_DBFS = -20.0
AFTER_S, WINDOW_S = 0.08, 0.2  # a stage's own filters have died away; what is read
LEAST_DB = -85.0  # of the tone, so long after it
CLEAR, FALLS = 8.0, 4.0  # times what lies beside the line, and times what is left of it at the pause's end
LINE_BINS, BESIDE_BINS = 4, 16


def tail_after_tones_db(take: Take) -> float | None:
    """Level that rings on after a loud tone has ended, re the tone; None where none does.

    A stage that is fed nothing puts out its noise, hum, and what its couplings swing: none of it is a line
    at the tone's own frequency that falls within the pause.
    """
    rate_hz = take.stimulus.rate_hz
    rings: list[float] = []
    for start, stop in pauses(take.stimulus):
        last = [tone for s in take.stimulus.segments for tone in s.tones if tone.stop == start]
        if len(last) != 1 or last[0].level_dbfs < LOUD_DBFS or stop - start < 3 * WINDOW_S * rate_hz:
            continue
        tone, _ = _line(take, last[0], start - (WINDOW_S + 0.01) * rate_hz)
        ring, beside = _line(take, last[0], start + AFTER_S * rate_hz)
        left, _ = _line(take, last[0], stop - 1.1 * WINDOW_S * rate_hz)
        if ring > max(CLEAR * beside, FALLS * left, tone * 10 ** (LEAST_DB / 20)) > 0:
            rings.append(20 * math.log10(ring / tone))
    return max(rings, default=None)


def _line(take: Take, tone: Tone, start: float) -> tuple[float, float]:
    """Size of the line at a tone's frequency from a stimulus position on, and of what lies beside it."""
    rate_hz = take.stimulus.rate_hz
    cut = take.cut(start, start + WINDOW_S * rate_hz)
    if cut.samples.size < 0.9 * WINDOW_S * rate_hz or not np.all(np.isfinite(cut.samples)):
        return 0.0, 0.0
    sizes: Array = np.abs(np.fft.rfft(cut.samples * np.hanning(cut.samples.size)))
    at = round(tone.frequency_hz * cut.step / rate_hz * cut.samples.size)
    beside = np.concatenate(
        [sizes[max(1, at - BESIDE_BINS) : at - LINE_BINS], sizes[at + LINE_BINS + 1 : at + BESIDE_BINS]]
    )
    return float(sizes[at - 1 : at + 2].max()), float(np.median(beside))
