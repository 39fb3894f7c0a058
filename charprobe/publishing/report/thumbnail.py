"""Small pictures for the overview: a setting's static curve and its recovery, without numbers."""

from __future__ import annotations

import math

import numpy as np

from charprobe.profile.burst_traces import edge_trace, reference_step
from charprobe.profile.profile import Profile
from charprobe.publishing.figures import points
from charprobe.values.arrays import Array

WIDTH, HEIGHT = 92.0, 60.0  # the viewBox of the template's pictures
STATIC_RANGE_DBFS = (-62.0, 2.0)
TIME_RANGE_S = (1e-4, 10.0)


def static_points(profile: Profile) -> str:
    """Return points of output against input from −62 to 2 dBFS on both axes; "" without a static curve."""
    if "static" not in profile.curves:
        return ""
    level, out = points.static_points(profile, "output_dbfs")
    low, high = STATIC_RANGE_DBFS
    span = high - low
    return _points((level - low) / span, (out - low) / span)


def timing_points(profile: Profile) -> tuple[str, ...]:
    """Return points of the gain after attack and release over log time, 0.1 ms to 10 s; () without times."""
    if "gain_trace" not in profile.curves or not points.has_reduction(profile):
        return ()
    step = reference_step(profile)
    traces = [edge_trace(profile.curves["gain_trace"], edge, step) for edge in ("attack", "release")]
    every = np.concatenate([gain_db for _, gain_db in traces])
    first, last = (math.log10(end) for end in TIME_RANGE_S)
    lines = []
    for time_s, gain_db in traces:
        shown = (time_s >= TIME_RANGE_S[0]) & (time_s <= TIME_RANGE_S[1])
        across = (np.log10(time_s[shown]) - first) / (last - first)
        lines.append(_points(across, 0.06 + 0.88 * (gain_db[shown] - every.min()) / np.ptp(every)))
    return tuple(lines)


def _points(across: Array, up: Array) -> str:
    """Return points of the unit square as those of a picture."""
    x, y = np.clip(across, 0, 1) * WIDTH, HEIGHT * (1 - np.clip(up, 0, 1))
    return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
