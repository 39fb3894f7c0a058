"""Tables of the timing chapter: one row per burst condition, and the gain traces behind them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.measuring.chapters.timing.rows import BurstRow
from charprobe.profile.entry import Cell, Table, cell_of

POINTS_PER_SIDE = 150  # of an edge, in a profile
DENSE = 24  # samples beside the edge that are all kept

ATTACK = ("t50", "t63", "t90", "within_2db", "within_3db")
RELEASE = ("t50", "t63", "t90", "within_2db", "within_4db")


def timing_table(rows: Sequence[BurstRow]) -> Table:
    """One row per burst condition, each time with its interval; one that is not reached is an empty cell.

    A bound is an empty time with one end of its interval. `attack_settled` and `release_settled` say whether
    the gain that percentages count to is known: from the record itself, from a longer burst, or from the gain
    at rest.
    """
    columns: dict[str, list[Cell]] = {
        "from_dbfs": [row.from_dbfs for row in rows],
        "to_dbfs": [row.to_dbfs for row in rows],
        "carrier_hz": [row.carrier_hz for row in rows],
        "hold_s": [row.hold_s for row in rows],
        "reduction_db": [row.reduction_db for row in rows],
    }
    units = {"from_dbfs": "dBFS", "to_dbfs": "dBFS", "carrier_hz": "Hz"}
    for edge, names in (("attack", ATTACK), ("release", RELEASE)):
        edges = [row.attack if edge == "attack" else row.release for row in rows]
        for name in names:
            readings = [getattr(times, name) for times in edges]
            columns[f"{edge}_{name}_s"] = [cell_of(reading) for reading in readings]
            columns[f"{edge}_{name}_low_s"] = [reading.least for reading in readings]
            columns[f"{edge}_{name}_high_s"] = [reading.most for reading in readings]
        columns[f"{edge}_settled"] = [times.settled for times in edges]
        units[f"{edge}_settled"] = ""
    columns["attack_overshoot_db"] = [cell_of(row.attack.overshoot) for row in rows]
    columns["resolution_s"] = [row.attack_trace.resolution_s for row in rows]
    for name in columns:
        units.setdefault(name, "dB" if name.endswith("_db") else "s")
    return Table(columns, units)


def gain_trace_table(rows: Sequence[BurstRow]) -> Table:
    """Gain traces of all conditions, every sample beside the edge and evenly in log time farther out."""
    columns: dict[str, list[Cell]] = {"step": [], "edge": [], "time_s": [], "gain_db": [], "std_db": []}
    for step, row in enumerate(rows):
        for trace in (row.attack_trace, row.release_trace):
            time_s, gain_db, std_db = thinned(trace)
            columns["step"] += [step] * len(time_s)
            columns["edge"] += [trace.edge] * len(time_s)
            columns["time_s"] += time_s
            columns["gain_db"] += gain_db
            columns["std_db"] += std_db
    return Table(columns, {"step": "", "edge": "", "time_s": "s", "gain_db": "dB", "std_db": "dB"})


def thinned(trace: GainTrace) -> tuple[list[float], list[float], list[float]]:
    """Times, gains and standard uncertainties of a trace as means over bins even in log time."""
    reach = max(float(trace.time_s[-1]), -float(trace.time_s[0]))
    near = DENSE * trace.sample_s
    far = np.geomspace(near, max(reach, 2 * near) * 1.001, POINTS_PER_SIDE - DENSE)
    edges = np.concatenate([-far[::-1], np.arange(-DENSE + 1, DENSE) * trace.sample_s, far])
    index = np.searchsorted(trace.time_s, edges - trace.sample_s / 2)
    starts = np.unique(index[index < trace.time_s.size])
    # what the path's edge hides is not worth plotting: it is weighted away
    weights = trace.std_db**-2.0
    total = np.add.reduceat(weights, starts)
    time_s = np.add.reduceat(weights * trace.time_s, starts) / total
    gain_db = np.add.reduceat(weights * trace.gain_db, starts) / total
    return (
        [round(float(t), 9) for t in time_s],
        [round(float(g), 5) for g in gain_db],
        [round(float(s), 6) for s in total**-0.5],
    )
