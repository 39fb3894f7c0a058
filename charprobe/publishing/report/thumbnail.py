"""Small pictures for the overview: a setting's static curve and its recovery, without numbers."""

from __future__ import annotations

import math

import numpy as np

from charprobe.profile.burst_traces import edge_trace, reference_step
from charprobe.profile.entry import flags, numbers
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.overlay import has_reduction
from charprobe.publishing.report.markup import EMPTY, Html, element
from charprobe.values.arrays import Array

WIDTH, HEIGHT = 92.0, 60.0
STATIC_RANGE_DBFS = (-62.0, 2.0)
TIME_RANGE_S = (1e-4, 10.0)


def static_thumbnail(profile: Profile, colour: str) -> Html:
    """Return output against input from −62 to 2 dBFS on both axes, the line of unchanged level behind it."""
    if "static" not in profile.curves:
        return EMPTY
    table = profile.curves["static"]
    keep = flags(table, "used", missing=True)
    level, out = numbers(table, "input_dbfs")[keep], numbers(table, "output_dbfs")[keep]
    order = np.argsort(level, kind="stable")
    low, high = STATIC_RANGE_DBFS
    span = high - low
    points = _line((level[order] - low) / span, (out[order] - low) / span)
    return _picture(
        "Static curve in small", _path("0,60 92,0", "var(--grid)", 1.0), _path(points, colour, 2.5)
    )


def timing_thumbnail(profile: Profile, colour: str) -> Html:
    """Return the gain after both edges over log time, 0.1 ms to 10 s: attack solid, release dashed."""
    if "gain_trace" not in profile.curves or not has_reduction(profile):
        return EMPTY
    trace, step = profile.curves["gain_trace"], reference_step(profile)
    lines = []
    gains = [edge_trace(trace, edge, step)[1] for edge in ("attack", "release")]
    every = np.concatenate(gains)
    first, last = (math.log10(end) for end in TIME_RANGE_S)
    for edge in ("attack", "release"):
        time_s, gain_db = edge_trace(trace, edge, step)
        shown = (time_s >= TIME_RANGE_S[0]) & (time_s <= TIME_RANGE_S[1])
        across = (np.log10(time_s[shown]) - first) / (last - first)
        up = 0.06 + 0.88 * (gain_db[shown] - every.min()) / np.ptp(every)
        lines.append(_path(_line(across, up), colour, 2.0, dash="5 3" if edge == "release" else None))
    return _picture("Attack (solid) and release (dashed) in small", *lines)


def swatch(dash: str | None, marker: Html, colour: str) -> Html:
    """Return the line of a curve with its marker, as figures draw it."""
    line = _path("0,6 30,6", colour, 2.0, dash=dash)
    return element("svg", line, marker, viewBox="0 0 30 12", class_="swatch", aria_hidden="true")


def _line(across: Array, up: Array) -> str:
    """Return points of the unit square as those of a picture."""
    x, y = np.clip(across, 0, 1) * WIDTH, HEIGHT * (1 - np.clip(up, 0, 1))
    return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))


def _path(points: str, colour: str, width: float, dash: str | None = None) -> Html:
    look = f"stroke:{colour};stroke-width:{width}" + (f";stroke-dasharray:{dash}" if dash else "")
    return element("polyline", points=points, fill="none", style=look)


def _picture(name: str, *parts: Html) -> Html:
    return element(
        "svg", *parts, viewBox=f"0 0 {WIDTH:g} {HEIGHT:g}", class_="thumbnail", role="img", aria_label=name
    )
