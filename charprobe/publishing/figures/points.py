"""Points of the curves that overlays, charts and moving pictures draw."""

from __future__ import annotations

import numpy as np

from charprobe.comparing.curve_kinds import MIDDLE_HZ, middle_tone, tones_of
from charprobe.profile.burst_traces import edge_trace, reference_step
from charprobe.profile.entry import flags, numbers, rows_of
from charprobe.profile.profile import Profile
from charprobe.values.arrays import Array
from charprobe.values.edge import Edge

LEAST_REDUCTION_DB = 1.0


def static_points(profile: Profile, column: str) -> tuple[Array, Array]:
    """Return input levels and a column of the static curve, by level: points that count or are saturated."""
    table = profile.curves["static"]
    bent = flags(table, "saturated", missing=False) & flags(table, "settled", missing=True)
    keep = np.flatnonzero(flags(table, "used", missing=True) | bent)
    order = keep[np.argsort(numbers(table, "input_dbfs")[keep], kind="stable")]
    return numbers(table, "input_dbfs")[order], numbers(table, column)[order]


def change_done(profile: Profile, edge: Edge) -> tuple[Array, Array]:
    """Return times after an edge (s) and how much of the gain change is done (%); empty where none is."""
    trace, step = profile.curves["gain_trace"], reference_step(profile)
    time_s, gain_db = edge_trace(trace, edge, step)
    if time_s.size == 0:
        return np.zeros(0), np.zeros(0)
    before, after = time_s <= 0, time_s > 0
    start = float(np.median(gain_db[before])) if before.any() else float(gain_db[0])
    stop = float(np.median(gain_db[time_s >= 0.9 * time_s.max()]))
    if edge == "release":  # it leads back to the gain before the attack
        rest_s, rest_db = edge_trace(trace, "attack", step)
        stop = float(np.median(rest_db[rest_s <= 0])) if (rest_s <= 0).any() else stop
    if start == stop or not after.any():
        return np.zeros(0), np.zeros(0)
    return time_s[after], 100 * (gain_db[after] - start) / (stop - start)


def has_reduction(profile: Profile) -> bool:
    """Tell whether a profile's reference burst was reduced by `LEAST_REDUCTION_DB`, so that it has times."""
    if not has_curve(profile, "timing") or not profile.curves["timing"].columns["reduction_db"]:
        return False
    reduction = numbers(profile.curves["timing"], "reduction_db")[reference_step(profile)]
    return bool(np.nan_to_num(reduction) >= LEAST_REDUCTION_DB)


def harmonic_points(profile: Profile, column: str) -> tuple[Array, Array]:
    """Return levels and a column of "harmonics" at the tone nearest 1 kHz."""
    table = profile.curves["harmonics"]
    chosen = np.flatnonzero(numbers(table, "frequency_hz") == middle_hz(profile))
    level = numbers(table, "input_dbfs")[chosen]
    order = np.argsort(level, kind="stable")
    return level[order], numbers(table, column)[chosen][order]


def middle_hz(profile: Profile) -> float:
    """Return the tone nearest 1 kHz of the curve "harmonics"."""
    return middle_tone(tones_of(profile.curves["harmonics"]))


def response_points(profile: Profile) -> tuple[Array, Array]:
    """Return frequencies and the gain at the lowest drive, less its value at 1 kHz."""
    table = profile.curves["response"]
    drive = numbers(table, "drive_dbfs")
    lowest = np.flatnonzero(drive == np.nanmin(drive))
    hz, level = numbers(table, "frequency_hz")[lowest], numbers(table, "magnitude_db")[lowest]
    order = np.argsort(hz, kind="stable")
    return hz[order], level[order] - float(np.interp(MIDDLE_HZ, hz[order], level[order]))


def has_curve(profile: Profile, curve: str) -> bool:
    """Tell whether a profile has a curve with rows."""
    return curve in profile.curves and rows_of(profile.curves[curve]) > 0
