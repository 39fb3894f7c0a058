"""Pairs of tones at rising peak levels: intermodulation."""

from __future__ import annotations

import numpy as np

from charprobe.stimulus.kinds.tone_run import GROUP_GAP_S, ramp_samples
from charprobe.stimulus.recipe import TwoTone
from charprobe.stimulus.timetable import Segment, Span, Tone
from charprobe.values.arrays import Array


def lay_out_two_tone(spec: TwoTone, *, start: int, rate_hz: int) -> Segment:
    """Place the pair at every level.

    Each tone of the timetable stands for a pair: its frequency is the lower one, its level the sum's peak.
    """
    length, gap = round(spec.tone_s * rate_hz), round(GROUP_GAP_S * rate_hz)
    tones = tuple(
        Tone(start + i * (length + gap), length, spec.lower_hz, level, 0.0, ramp_samples(rate_hz), i)
        for i, level in enumerate(spec.levels_dbfs)
    )
    return Segment(spec, Span(start, tones[-1].stop - start), tones)


def render_two_tone(spec: TwoTone, segment: Segment, *, rate_hz: int) -> Array:
    """Render the segment; both tones start as cosines and are faded in and out over the ramp."""
    out = np.zeros(segment.span.length)
    lower = spec.lower_over_upper / (1 + spec.lower_over_upper)
    for tone in segment.tones:
        n = np.arange(tone.length)
        edge = np.clip((np.minimum(n, tone.length - 1 - n) + 0.5) / tone.ramp, 0.0, 1.0)
        waves = [np.cos(2 * np.pi * ((f / rate_hz * n) % 1.0)) for f in (spec.lower_hz, spec.upper_hz)]
        pair = lower * waves[0] + (1 - lower) * waves[1]
        first = tone.start - segment.span.start
        fade = 0.5 - 0.5 * np.cos(np.pi * edge)
        out[first : first + tone.length] = 10 ** (tone.level_dbfs / 20) * fade * pair
    return out
