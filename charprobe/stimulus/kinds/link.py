"""Stereo link: one side is driven step by step beside a quiet pilot on the other, then the other side."""

from __future__ import annotations

import numpy as np

from charprobe.stimulus.kinds.tone_run import ramp_samples, render_tones
from charprobe.stimulus.recipe import Link
from charprobe.stimulus.timetable import Segment, Span, Tone
from charprobe.values.arrays import Array

HALVES_GAP_S = 1.0  # what one side was driven to has died away before the other is driven


def lay_out_link(spec: Link, *, start: int, rate_hz: int) -> Segment:
    """Place both halves; `tones` stays empty, since each side plays its own: see `side_tones`."""
    half = len(spec.levels_dbfs) * round(spec.tone_s * rate_hz)
    return Segment(spec, Span(start, 2 * half + round(HALVES_GAP_S * rate_hz)), ())


def side_tones(segment: Segment, side: int, *, rate_hz: float) -> tuple[tuple[Tone, ...], tuple[Tone, ...]]:
    """Tones that one side plays when driven, one per level, and as the pilot, beside each level of the other.

    Parameters
    ----------
    segment : Segment
        A `link` segment.
    side : {1, 2}
        Side 1 is driven first.
    rate_hz : float
        Sampling rate.
    """
    spec = segment.spec
    assert isinstance(spec, Link)
    length, ramp = round(spec.tone_s * rate_hz), ramp_samples(round(rate_hz))
    count = len(spec.levels_dbfs)
    second = segment.span.stop - count * length
    first_start, then_start = (segment.span.start, second) if side == 1 else (second, segment.span.start)

    def run(start: int, frequency_hz: float, levels_dbfs: tuple[float, ...]) -> tuple[Tone, ...]:
        tones = []
        for i, level in enumerate(levels_dbfs):
            turns = (frequency_hz * i * length / rate_hz) % 1.0
            at = start + i * length
            tones.append(Tone(at, length, frequency_hz, level, 2 * np.pi * turns, ramp, 0))
        return tuple(tones)

    driven = run(first_start, spec.drive_hz, spec.levels_dbfs)
    return driven, run(then_start, spec.pilot_hz, (spec.pilot_dbfs,) * count)


def render_link(segment: Segment, side: int, *, rate_hz: int) -> Array:
    """Render one side; shape ``(segment.span.length,)``."""
    driven, pilot = side_tones(segment, side, rate_hz=rate_hz)
    tones = sorted((*driven, *pilot), key=lambda tone: tone.start)
    return render_tones(tones, start=segment.span.start, length=segment.span.length, rate_hz=rate_hz)
