"""Waveforms of other crest factor at the peak levels of sines: what does the detector react to."""

from __future__ import annotations

import numpy as np

from charprobe.stimulus.kinds.tone_run import GROUP_GAP_S, ramp_samples
from charprobe.stimulus.kinds.waveforms import PER_FUNDAMENTAL, WAVEFORMS
from charprobe.stimulus.recipe import EqualPeak
from charprobe.stimulus.timetable import Segment, Span, Tone
from charprobe.values.arrays import Array


def lay_out_equal_peak(spec: EqualPeak, *, start: int, rate_hz: int) -> Segment:
    """Place every waveform at every level, in the order of `WAVEFORMS` within each level.

    Each tone of the timetable stands for one waveform: its frequency is the fundamental, its level the peak.
    """
    length, gap = round(spec.tone_s * rate_hz), round(GROUP_GAP_S * rate_hz)
    levels = [level for level in spec.levels_dbfs for _ in WAVEFORMS]
    tones = tuple(
        Tone(start + i * (length + gap), length, spec.frequency_hz, level, 0.0, ramp_samples(rate_hz), i)
        for i, level in enumerate(levels)
    )
    return Segment(spec, Span(start, tones[-1].stop - start), tones)


def render_equal_peak(segment: Segment, *, rate_hz: int) -> Array:
    """Render the segment; every waveform is faded in and out over its ramp."""
    out = np.zeros(segment.span.length)
    for i, tone in enumerate(segment.tones):
        n = np.arange(tone.length)
        edge = np.clip((np.minimum(n, tone.length - 1 - n) + 0.5) / tone.ramp, 0.0, 1.0)
        turns = np.asarray((tone.frequency_hz / PER_FUNDAMENTAL / rate_hz * n) % 1.0)
        wave = WAVEFORMS[i % len(WAVEFORMS)].at(turns) * (0.5 - 0.5 * np.cos(np.pi * edge))
        first = tone.start - segment.span.start
        out[first : first + tone.length] = 10 ** (tone.level_dbfs / 20) * wave
    return out
