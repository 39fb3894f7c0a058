"""Steady tones over level x frequency, and silence beside a quiet tone."""

from __future__ import annotations

from charprobe.stimulus.kinds.tone_run import GROUP_GAP_S, ramp_samples
from charprobe.stimulus.recipe import Silence, Tones
from charprobe.stimulus.timetable import Segment, Span, Tone


def lay_out_tones(spec: Tones, *, start: int, rate_hz: int) -> Segment:
    """Place every frequency at every level, levels in the recipe's order within each frequency."""
    length, gap = round(spec.tone_s * rate_hz), round(GROUP_GAP_S * rate_hz)
    pairs = [(f, level) for f in spec.frequencies_hz for level in spec.levels_dbfs]
    tones = tuple(
        Tone(start + i * (length + gap), length, f, level, 0.0, ramp_samples(rate_hz), i)
        for i, (f, level) in enumerate(pairs)
    )
    return Segment(spec, Span(start, tones[-1].stop - start), tones)


def lay_out_silence(spec: Silence, *, start: int, rate_hz: int) -> Segment:
    """Place the silence, then the quiet tone if the recipe asks for one."""
    silent, sounding = round(spec.length_s * rate_hz), round(spec.tone_s * rate_hz)
    tone = Tone(
        start + silent, sounding, spec.tone_hz, spec.tone_dbfs, 0.0, min(ramp_samples(rate_hz), sounding), 0
    )
    return Segment(spec, Span(start, silent + sounding), (tone,) if sounding else ())
