"""The synchronised exponential sine sweep."""

from __future__ import annotations

import numpy as np

from charprobe.stimulus.recipe import RAMP_S, Sweep
from charprobe.stimulus.timetable import Segment, Span
from charprobe.values.arrays import Array


def lay_out_sweep(spec: Sweep, *, start: int, rate_hz: int) -> Segment:
    """Place the sweep; it has no tones."""
    return Segment(spec, Span(start, round(spec.length_s * rate_hz)), ())


def render_sweep(spec: Sweep, seconds: Array) -> Array:
    """Value of the sweep at any times, in seconds from its start; zero outside it.

    ``A sin(2 pi f1 L exp(t / L))`` with ``L = length / ln(f2 / f1)``, so harmonics keep their phase
    (Novak, Lotton & Simon, JAES 63(10), 2015); raised-cosine fades of `RAMP_S` at both ends.
    """
    rate_s = spec.length_s / np.log(spec.to_hz / spec.from_hz)
    t = np.clip(seconds, 0.0, spec.length_s)
    edge = np.minimum(1.0, np.minimum(t, spec.length_s - t) / RAMP_S)
    turns = spec.from_hz * rate_s * np.exp(t / rate_s)
    wave: Array = np.sin(2 * np.pi * (turns % 1.0)) * (0.5 - 0.5 * np.cos(np.pi * edge))
    return 10 ** (spec.level_dbfs / 20) * wave
