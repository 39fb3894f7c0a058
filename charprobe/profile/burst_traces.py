"""Burst conditions of a profile: the one its quantities speak of, and the gain trace of each edge."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from charprobe.profile.entry import Table, numbers
from charprobe.profile.profile import Profile
from charprobe.values.arrays import Array


def reference_step(profile: Profile) -> int:
    """Return the row of "timing" that the quantities of a profile speak of: the one with their t63."""
    timing = profile.curves["timing"]
    for edge in ("attack", "release"):
        t63 = profile.measured(f"{edge}.t63")
        if t63 is not None:
            times = numbers(timing, f"{edge}_t63_s")
            if np.isfinite(times).any():
                return int(np.nanargmin(np.abs(times - t63.value)))
    return 0


def of_edge(trace: Table, edge: str, step: int) -> NDArray[np.bool_]:
    """Return which rows of "gain_trace" are of one edge of one burst condition."""
    return np.asarray((numbers(trace, "step") == step) & [word == edge for word in trace.columns["edge"]])


def edge_traces(trace: Table, edge: str) -> dict[int, tuple[Array, Array]]:
    """Return times (s) and gains (dB) of one edge of every burst condition that has a trace of it."""
    steps, time_s, gain_db = (numbers(trace, name) for name in ("step", "time_s", "gain_db"))
    chosen = np.isfinite(steps) & [word == edge for word in trace.columns["edge"]]
    rows = {int(step): chosen & (steps == step) for step in np.unique(steps[chosen])}
    return {step: (time_s[own], gain_db[own]) for step, own in rows.items()}


def edge_trace(trace: Table, edge: str, step: int) -> tuple[Array, Array]:
    """Return times (s) and gains (dB) of one edge of one burst condition."""
    chosen = of_edge(trace, edge, step)
    return numbers(trace, "time_s")[chosen], numbers(trace, "gain_db")[chosen]
