"""Attack detail and the conversion between definitions: the tables beside the named times."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from charprobe.estimators.timing.edge.crossing import value_at
from charprobe.estimators.timing.edge.definitions import outside_margins, under_every_definition
from charprobe.estimators.timing.step_dependence import StepDependence, StepTimes, step_dependence
from charprobe.measuring.chapters.timing.rows import BurstRow
from charprobe.profile.entry import Cell, Table, cell_of
from charprobe.values.quantity import Quantity

MOMENTS_S = (0.001, 0.003, 0.01)  # at which the reduction reached is told
MARGINS_DB = (1, 3, 6)
AROUND = 0.15  # share of a moment over which the gain there is read on either side
SAME_LEVEL_DB = 0.5
AHEAD = 2.0  # resolutions by which the gain must move before the edge to be called look-ahead
STAYS = 0.25  # share of what it has moved by there that it keeps over the last third of the way to the edge


def definitions_table(row: BurstRow) -> Table:
    """Attack and release of one condition under every definition; bounds and misfits are empty cells."""
    attack = {d.words: cell_of(d.reading) for d in under_every_definition(row.attack_trace)}
    release = {d.words: cell_of(d.reading) for d in under_every_definition(row.release_trace)}
    words = list(attack or release)
    columns: dict[str, list[Cell]] = {
        "definition": list(words),
        "attack_s": [attack.get(w) for w in words],
        "release_s": [release.get(w) for w in words],
    }
    return Table(columns, {"definition": "", "attack_s": "s", "release_s": "s"})


def attack_detail_table(rows: Sequence[BurstRow]) -> Table:
    """What passes before the gain has moved, per condition: level above the settled one, and for how long."""
    columns: dict[str, list[Cell]] = {
        "from_dbfs": [row.from_dbfs for row in rows],
        "to_dbfs": [row.to_dbfs for row in rows],
        "hold_s": [row.hold_s for row in rows],
        "passes_db": [passes_db(row) for row in rows],
    }
    outside = [outside_margins(row.attack_trace, MARGINS_DB) for row in rows]
    for i, margin in enumerate(MARGINS_DB):
        columns[f"above_{margin}db_s"] = [cell_of(found[i].reading) if found else None for found in outside]
    for moment in MOMENTS_S:
        name = f"reduction_at_{moment * 1e3:g}ms_db"
        columns[name] = [_reduction_at(row, moment) for row in rows]
    units = {"from_dbfs": "dBFS", "to_dbfs": "dBFS", "hold_s": "s"}
    return Table(columns, {name: units.get(name, "s" if name.endswith("_s") else "dB") for name in columns})


def passes_db(row: BurstRow) -> float | None:
    """How far the output first rises above where it settles; None if it never settled."""
    if not (isinstance(row.attack.change, Quantity) and isinstance(row.attack.after, Quantity)):
        return None
    if not moves_ahead(row):
        return -row.attack.change.value
    # with look-ahead part of the way is done when the edge comes out
    there = value_at(row.attack_trace, row.attack_trace.resolution_s, reach_s=row.attack_trace.resolution_s)
    return None if there is None else there.value - row.attack.after.value


def moves_ahead(row: BurstRow) -> bool:
    """Whether the gain moves before the edge, and stays moved: filters ring there, too, but to and fro."""
    start, before, change, trace = (
        row.attack.start,
        row.attack.before,
        row.attack.change,
        row.attack_trace,
    )
    if not (isinstance(start, Quantity) and isinstance(before, Quantity) and isinstance(change, Quantity)):
        return False
    if start.high >= -AHEAD * trace.resolution_s:
        return False
    moved = (trace.gain_db[trace.time_s < 0] - before.value) * np.sign(change.value)
    last = trace.time_s[trace.time_s < 0] > start.value / 3
    return bool(moved[last].min(initial=np.inf) > STAYS * moved.max())


def step_meaning(rows: Sequence[BurstRow]) -> StepDependence | None:
    """Compare the steps that share the reference's low level and carrier."""
    if not rows:
        return None
    first = next((row for row in rows if getattr(row.segment.spec, "reference", False)), rows[0])
    same = [
        StepTimes(abs(row.reduction_db), row.attack.t63, row.release.t63)
        for row in rows
        if row.reduction_db is not None
        and abs(row.from_dbfs - first.from_dbfs) < SAME_LEVEL_DB
        and row.carrier_hz == first.carrier_hz
    ]
    return step_dependence(same)


def _reduction_at(row: BurstRow, moment_s: float) -> float | None:
    if not isinstance(row.attack.before, Quantity) or moment_s > row.attack.end_s:
        return None
    there = value_at(row.attack_trace, moment_s, reach_s=AROUND * moment_s)
    return None if there is None else row.attack.before.value - there.value
