"""Gain traces that are compared as a whole: attack and release at the reference step, re the gain at rest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from charprobe.comparing.curve import FEWEST, ComparedCurve, std_of_mean
from charprobe.comparing.subjects import Subject
from charprobe.profile.burst_traces import of_edge, reference_step
from charprobe.profile.entry import Table, numbers
from charprobe.profile.profile import Profile
from charprobe.values.arrays import Array
from charprobe.values.edge import Edge

AT_REST = 0.15  # share of the record before the edge that is left to look-ahead
HIDDEN = 2.0  # resolutions of the trace beside its edge that the path's own edge hides
SAME_END = 0.1  # traces end at one time if they do within this share of it


def gain_trace_of(subject: Subject, edge: Edge) -> ComparedCurve | None:
    """Average the gain around an edge over repeats, less the gain at rest; None where no repeat has one."""
    found = [trace for profile in subject.repeats if (trace := _trace(profile, edge)) is not None]
    if not found:
        return None
    first = found[0]
    inside = first.place <= min(trace.place[-1] for trace in found)
    place = first.place[inside & (first.place >= max(trace.place[0] for trace in found))]
    if place.size < FEWEST:
        return None
    values = np.array([np.interp(place, trace.place, trace.value_db) for trace in found])
    stds = np.array([np.interp(place, trace.place, trace.std_db) for trace in found])
    return replace(
        first,
        place=place,
        value_db=values.mean(axis=0),
        std_db=np.array([std_of_mean(*both) for both in zip(values.T, stds.T, strict=True)]),
    )


def _trace(profile: Profile, edge: Edge) -> ComparedCurve | None:
    if not {"timing", "gain_trace"} <= profile.curves.keys():
        return None
    timing, trace = profile.curves["timing"].columns, profile.curves["gain_trace"]
    if not trace.columns["step"] or "std_db" not in trace.columns:
        return None
    row = reference_step(profile)
    rest_db, rest_std_db = _at_rest(_rows(trace, row, "attack"))
    time_s, gain_db, std_db = _rows(trace, row, edge)
    seen = np.abs(time_s) > HIDDEN * float(timing["resolution_s"][row] or 0.0)
    time_s, gain_db, std_db = time_s[seen], gain_db[seen], std_db[seen]
    if time_s.size < FEWEST:
        return None
    conditions = [timing[name][row] for name in ("from_dbfs", "to_dbfs", "carrier_hz", "hold_s")]
    from_dbfs, to_dbfs, carrier_hz, hold_s = (float(cell or 0.0) for cell in conditions)
    return ComparedCurve(
        time_s,
        gain_db - rest_db,
        np.sqrt(std_db**2 + rest_std_db**2 + _bend_db(time_s, gain_db) ** 2),
        SAME_END * float(time_s[-1]),
        (from_dbfs, to_dbfs, carrier_hz, 1000 * hold_s),
    )


def _rows(trace: Table, step: int, edge: Edge) -> tuple[Array, Array, Array]:
    """Times, gains and standard uncertainties of one edge."""
    chosen = of_edge(trace, edge, step)
    time_s, gain_db, std_db = (numbers(trace, name)[chosen] for name in ("time_s", "gain_db", "std_db"))
    return time_s, gain_db, std_db


def _bend_db(time_s: Array, gain_db: Array) -> Array:
    """How far the trace may lie off the line between two of its points, where another is read in between."""
    share = np.diff(time_s)[:-1] / (time_s[2:] - time_s[:-2])
    line = gain_db[:-2] + share * (gain_db[2:] - gain_db[:-2])
    # a parabola lies off its chord by at most a quarter of what it does off the chord of two steps
    bend = np.pad(np.abs(gain_db[1:-1] - line) / 4, 2, mode="edge")
    return np.asarray(np.maximum(np.maximum(bend[:-2], bend[1:-1]), bend[2:]))


def _at_rest(attack: tuple[Array, Array, Array]) -> tuple[float, float]:
    """Gain before the attack and its standard uncertainty; 0 where the record begins at the edge."""
    time_s, gain_db, std_db = attack
    early = time_s < AT_REST * min(time_s[0], 0.0) if time_s.size else np.zeros(0, dtype=bool)
    if not early.any():
        return 0.0, 0.0
    weights = np.maximum(std_db[early], 1e-6) ** -2
    return float(np.average(gain_db[early], weights=weights)), float(weights.sum() ** -0.5)
