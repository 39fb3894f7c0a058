"""The cell that a profile describes: where the search for a structure begins."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from charprobe.estimators.timing.release_kind import waited_s
from charprobe.profile.entry import numbers
from charprobe.profile.profile import Profile
from charprobe.replica.fitting.structures import USUAL_DBFS, Quiet, above
from charprobe.replica.parts import UNLIMITED_DB, Bend, Cell, Detector, Smoothing
from charprobe.values.quantity import Quantity, Unmeasured, value_or_most

REDUCED_DB = 1.0  # a gain so far below that at rest shows one
UNHEARD_DB = 0.5  # by which a low tone must be reduced less for a filter to stand before the detector
SAME_DB = 0.5  # levels this close are one
FLOOR_DB, FLOOR_STEPS = 0.1, 3  # within which the lowest steps must share a gain for it to be a floor
UNDER_DB = 6.0  # a threshold that is known only to lie below a level is sought so far under it


def first_cell(profile: Profile) -> Cell:
    """The cell that the profile's quantities describe, as far as they do: where a search begins."""

    def value(name: str, otherwise: float) -> float:
        reading = profile.measured(name)
        return otherwise if reading is None else reading.value

    def time_s(edge: str, otherwise: float) -> float:
        """The time constant, by whichever part of the way was timed, or a bound on it."""
        for name, constants in (("t63", 1.0), ("t50", 0.693), ("t90", 2.303)):
            if (reading := profile.measured(f"{edge}.{name}")) is not None:
                return reading.value / constants
        known = profile.quantities.get(f"{edge}.t63")
        if known is not None and isinstance(known.reading, Unmeasured):
            return (
                1.5 * known.reading.at_least if known.reading.at_least else known.reading.at_most or otherwise
            )
        return otherwise

    lower = _quiet_bend(profile)
    seen = profile.measured("static.slope")
    slope, threshold, rest_db = _seen(profile, None if seen is None else seen.value)
    names = ("hold", "t63", "stages", "tau_1")
    hold, t63, stages, tau_1 = (profile.reading(f"release.{name}") for name in names)
    hold_s = waited_s(hold, t63=t63, stages=stages, tau_1=tau_1)
    ahead_s = value("attack.lookahead", 0.0)
    return Cell(
        detector=Detector("envelope", low_cut_hz=_low_cut_hz(profile, slope)),
        bends=(
            *(
                ()
                if lower is not None and profile.measured("static.max_reduction") is None
                else (
                    Bend(
                        min(
                            30.0,
                            max(-100.0, value("static.threshold", value("static.threshold_1db", threshold))),
                        ),
                        min(3.9, max(-3.9, 1 - slope)),
                        min(50.0, max(0.0, value("static.knee_width", 4.0))),
                    ),
                    *_second_bend(profile, slope),
                )
            ),
            *(() if lower is None else (lower,)),
        ),
        smoothing=Smoothing(
            domain="reduction" if lower is None else "level",
            attack_s=min(2.0, max(5e-5, time_s("attack", 0.005))),
            release_s=min(20.0, max(2e-3, time_s("release", 0.15) - hold_s)),
            hold_s=hold_s,
        ),
        lookahead_s=min(0.1, max(0.0, ahead_s)) if ahead_s > 1e-4 else 0.0,
        makeup_db=min(60.0, max(-60.0, value("static.low_level_gain", rest_db))),
    )


def quiet_of(cell: Cell) -> Quiet:
    """What a first cell does to what is quiet."""
    if len(cell.bends) == len(above(cell)):
        return "kept"
    return "moved to a floor" if cell.bends[-1].most_db < UNLIMITED_DB else "moved"


def _second_bend(profile: Profile, slope: float) -> tuple[Bend, ...]:
    """The bend above the first that a profile sees, if it sees one."""
    threshold, above = (profile.measured(f"static.second_{name}") for name in ("threshold", "slope"))
    if threshold is None or above is None:
        return ()
    return (Bend(min(30.0, max(-100.0, threshold.value)), min(3.9, max(-3.9, slope - above.value)), 4.0),)


def _low_cut_hz(profile: Profile, slope: float) -> float:
    """Corner of a first-order low cut ahead of the detector, as tones tell it; 0 for none.

    Of those that were read at the highest level, the lowest one is reduced by less than the highest one.
    """
    table = profile.curves.get("harmonics")
    if table is None:
        return 0.0
    hz, level, out = (numbers(table, name) for name in ("frequency_hz", "input_dbfs", "fundamental_dbfs"))
    gain, known = out - level, np.isfinite(out)
    top = known & (level > level[known].max(initial=-math.inf) - SAME_DB)
    if np.count_nonzero(top) < 2:
        return 0.0
    lowest, highest = (end(hz[top].tolist()) for end in (min, max))
    less_db, most_db = (
        float(np.max(gain[known & (hz == one)]) - gain[top & (hz == one)][0]) for one in (lowest, highest)
    )
    if most_db < REDUCED_DB or most_db - less_db < UNHEARD_DB:
        return 0.0
    unheard_db = min((most_db - less_db) / max(0.05, 1 - slope), 40.0)
    return float(np.clip(lowest * math.sqrt(10 ** (unheard_db / 10) - 1), 20.0, 600.0))


def _quiet_bend(profile: Profile) -> Bend | None:
    """The bend below which a profile sees the stage expand or lift; None where it sees none."""
    lower = profile.reading("static.lower_threshold")
    at = value_or_most(lower)
    if at is None:
        return None
    known, steps = profile.measured("static.lower_slope"), _rising(profile)
    if not steps:
        return None  # a finding may take the curve back and leave the bound
    open_db = profile.measured("static.low_level_gain")
    rest_db = max(gain for _, gain in steps) if open_db is None else open_db.value
    lowest = [gain for _, gain in steps[:FLOOR_STEPS]]
    floor_db = rest_db - lowest[0]
    slope = (1.0 if floor_db > 0 else -0.5) if known is None else known.value - 1
    at -= 0.0 if isinstance(lower, Quantity) else UNDER_DB
    flat = max(lowest) - min(lowest) < FLOOR_DB and abs(floor_db) > REDUCED_DB
    return Bend(max(-100.0, at), slope, 4.0, "below", abs(floor_db) if flat else UNLIMITED_DB)


def _rising(profile: Profile) -> list[tuple[float, float]]:
    """Level and gain of the level steps on the way up, by level."""
    curve = profile.curves.get("static")
    columns = curve.columns if curve is not None else {"input_dbfs": (), "gain_db": (), "direction": ()}
    rows = zip(columns["input_dbfs"], columns["gain_db"], columns["direction"], strict=True)
    return sorted((float(str(level)), float(str(gain))) for level, gain, way in rows if way == "rising")


def _seen(profile: Profile, slope: float | None) -> tuple[float, float, float]:
    """Slope, threshold and gain at rest of rising steps, settled or not: good enough to start from."""
    steps = _rising(profile)
    rest_db = steps[0][1] if steps else 0.0
    if slope is None:
        slope = min(
            (1 + (b[1] - a[1]) / (b[0] - a[0]) for a, b in pairwise(steps) if b[0] > a[0]), default=0.4
        )
    for level, gain_db in steps:
        if gain_db < rest_db - REDUCED_DB:
            return slope, level - (rest_db - gain_db) / max(0.1, 1 - slope), rest_db
    return slope, USUAL_DBFS, rest_db
