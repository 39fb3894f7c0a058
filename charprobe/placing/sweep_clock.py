"""The capture's clock seen in a sweep: its phase against the timetable, window by window."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.placing.tone_clock import LEAST_CLEAR_DB
from charprobe.placing.track import Clock, Track
from charprobe.stimulus.kinds.segment import Segment
from charprobe.stimulus.kinds.sweep import Sweep

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
