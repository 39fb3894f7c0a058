"""Curves of all settings as numbers for the page's charts, which can be read, zoomed and thinned out."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
from markupsafe import Markup

from charprobe.publishing.figures.overlay import OVERLAYS, Member
from charprobe.values.arrays import Array
from charprobe.values.wording import literal

MOST_POINTS = 160  # of a curve: finer than a page is wide
DIGITS = 5


def charts_of(every: Sequence[Member]) -> dict[str, list[dict[str, Any]]]:
    """Return, for each overlay by its name, its panels: title, axes, and the points of every setting."""
    return {
        overlay.name: [
            {
                "title": one.title or overlay.title,
                "across": one.across,
                "up": one.up,
                "log": one.log,
                "curves": [_curve(member, *one.points(member.profile)) for member in overlay.shown(every)],
            }
            for one in overlay.panels
        ]
        for overlay in OVERLAYS
    }


def charts_json(every: Sequence[Member]) -> Markup:
    """Return the charts as JSON that can stand inside a script element."""
    text = json.dumps(charts_of(every), separators=(",", ":"), ensure_ascii=True)
    return Markup(text.replace("<", "\\u003c").replace("&", "\\u0026"))


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
