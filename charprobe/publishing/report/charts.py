"""Curves of all settings as numbers for the page's charts, which can be read, zoomed and thinned out."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
from markupsafe import Markup

from charprobe.publishing.figures.overlay import (
    Member,
    change_done,
    harmonic_points,
    response_points,
    static_points,
    with_harmonics,
    with_response,
    with_static,
    with_times,
)
from charprobe.publishing.figures.static import anchor
from charprobe.values.arrays import Array
from charprobe.values.wording import literal

MOST_POINTS = 160  # of a curve: finer than a page is wide
DIGITS = 5


def charts_of(every: Sequence[Member]) -> dict[str, list[dict[str, Any]]]:
    """Return, for each overlay by its name, its panels: title, axes, and the points of every setting."""
    static, times, harmonics, response = (
        choose(every) for choose in (with_static, with_times, with_harmonics, with_response)
    )
    level = "input level (dBFS)"
    return {
        "static-overlay": [
            _panel("Static curve", level, "output (dBFS)", [
                _curve(one, *static_points(one.profile, "output_dbfs")) for one in static
            ]),
            _panel("Anchored at low level", level, "gain (dB)", [
                _curve(one, *_anchored(one)) for one in static
            ]),
        ],
        "timing-overlay": [
            _panel(edge.capitalize(), "time (ms)", "change done (%)", [
                _curve(one, 1e3 * time_s, share)
                for one in times
                for time_s, share in (change_done(one.profile, edge),)
            ], log=True)
            for edge in ("attack", "release")
        ],
        "harmonics-overlay": [
            _panel(word, level, "re fundamental (dBc)", [
                _curve(one, *harmonic_points(one.profile, column)[:2]) for one in harmonics
            ])
            for word, column in (("THD", "thd_dbc"), ("H2", "h2_dbc"), ("H3", "h3_dbc"))
        ],
        "response-overlay": [
            _panel("Response", "frequency (Hz)", "gain re 1 kHz (dB)", [
                _curve(one, *response_points(one.profile)) for one in response
            ], log=True)
        ],
    }  # fmt: skip


def charts_json(every: Sequence[Member]) -> Markup:
    """Return the charts as JSON that can stand inside a script element."""
    text = json.dumps(charts_of(every), separators=(",", ":"), ensure_ascii=True)
    return Markup(text.replace("<", "\\u003c").replace("&", "\\u0026"))


def _anchored(member: Member) -> tuple[Array, Array]:
    level, gain = static_points(member.profile, "gain_db")
    return level, gain - anchor(member.profile)


def _panel(
    title: str, across: str, up: str, curves: list[dict[str, Any]], *, log: bool = False
) -> dict[str, Any]:
    return {"title": title, "across": across, "up": up, "log": log, "curves": curves}


def _curve(member: Member, across: Array, up: Array) -> dict[str, Any]:
    """Return name, number and points of a curve: rising, once each, thinned out, without gaps."""
    seen = np.isfinite(across) & np.isfinite(up)
    x, where = np.unique(across[seen], return_index=True)
    y = up[seen][where]
    if x.size > MOST_POINTS:
        kept = np.unique(np.linspace(0, x.size - 1, MOST_POINTS).round().astype(int))
        x, y = x[kept], y[kept]
    return {
        "name": literal(member.name),
        "series": member.index,
        "x": [float(f"{value:.{DIGITS}g}") for value in x],
        "y": [float(f"{value:.{DIGITS}g}") for value in y],
    }
