"""Tables of the colour chapter."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from charprobe.estimators.colour.harmonic_cell import HIGHEST
from charprobe.estimators.colour.level_rung import LevelRung
from charprobe.estimators.colour.readings import Growth, growth_laws
from charprobe.estimators.colour.ripple import Split
from charprobe.measuring.chapters.colour.expected import ExpectedRipple, expected_columns
from charprobe.measuring.chapters.lookup import Reduction
from charprobe.profile.entry import Cell, Table, cell_of, std_of
from charprobe.values.quantity import Reading

ORDERS = range(2, HIGHEST + 1)


def colour_curves(
    rungs: Sequence[LevelRung],
    splits: Sequence[Split],
    ladder: Sequence[LevelRung],
    *,
    expected: ExpectedRipple | None,
    static: Reduction | None,
) -> dict[str, Table]:
    """Tables of the chapter: harmonics, growth per order, colour beside ripple where there is reduction."""
    curves = {
        "harmonics": _harmonics_table(rungs),
        "harmonic_growth": _growth_table(growth_laws(ladder)),
    }
    if splits:
        curves["colour_and_ripple"] = _ripple_table(rungs, splits, expected, static)
    return curves


def _harmonics_table(rungs: Sequence[LevelRung]) -> Table:
    """Every tone: level, harmonics and phases with standard uncertainties, and what they come from."""
    columns: dict[str, list[Cell]] = {
        "input_dbfs": [rung.input_dbfs for rung in rungs],
        "frequency_hz": [rung.cell.tone.frequency_hz for rung in rungs],
        "reduction_db": [rung.reduction_db for rung in rungs],
    }
    units = {"input_dbfs": "dBFS", "frequency_hz": "Hz", "reduction_db": "dB"}

    def add(name: str, unit: str, readings: Sequence[Reading]) -> None:
        columns[f"{name}_{unit.lower()}"] = [cell_of(reading) for reading in readings]
        units[f"{name}_{unit.lower()}"] = unit
        of = "deg" if unit == "deg" else "db"
        columns[f"{name}_std_{of}"] = [std_of(reading) for reading in readings]
        units[f"{name}_std_{of}"] = "deg" if unit == "deg" else "dB"

    add("fundamental", "dBFS", [rung.cell.fundamental for rung in rungs])
    for order in ORDERS:
        add(f"h{order}", "dBc", [rung.cell.level(order) for rung in rungs])
    for order in ORDERS:
        add(f"h{order}", "deg", [rung.cell.phase(order) for rung in rungs])
    add("thd", "dBc", [rung.cell.thd for rung in rungs])
    columns["limit_dbc"] = [_limit(rung) for rung in rungs]
    columns["bypass_thd_dbc"] = [None if rung.rig is None else cell_of(rung.rig.thd) for rung in rungs]
    columns["near_bypass"] = [
        " ".join(f"h{order}" for order in ORDERS if rung.near_rig(order)) for rung in rungs
    ]
    columns["settled"] = [rung.cell.settled for rung in rungs]
    columns["remaining_db"] = [rung.cell.settling.remaining_db for rung in rungs]
    columns["origin"] = [rung.origin if rung.cell.told else None for rung in rungs]
    more = {"limit_dbc": "dBc", "bypass_thd_dbc": "dBc", "remaining_db": "dB"}
    return Table(columns, units | more | dict.fromkeys(("near_bypass", "settled", "origin"), ""))


def _limit(rung: LevelRung) -> Cell:
    limits = rung.cell.limits_dbc
    return float(np.max(limits)) if limits.size else None


def _growth_table(laws: Sequence[Growth]) -> Table:
    units = {"order": "", **dict.fromkeys(("slope", "slope_low", "slope_high"), "dB/dB")}
    units |= dict.fromkeys(("from_dbfs", "to_dbfs"), "dBFS")
    slopes = ((law, law.slope) for law in laws)
    rows = [(law.order, s.value, s.low, s.high, law.from_dbfs, law.to_dbfs) for law, s in slopes]
    return Table({name: [row[i] for row in rows] for i, name in enumerate(units)}, units)


def _ripple_table(
    rungs: Sequence[LevelRung],
    splits: Sequence[Split],
    expected: ExpectedRipple | None,
    static: Reduction | None,
) -> Table:
    """Third harmonic of every cell under reduction: measured, its two parts, and the ripple expected."""
    rung_of = {rung.cell.tone: rung for rung in rungs}
    rows: list[tuple[Cell, ...]] = []
    told: list[LevelRung] = []
    for split in splits:
        for cell in split.cells:
            if cell.orders < 3:
                continue
            rung = rung_of[cell.tone]
            ripple = abs(split.ripple_at(3, cell.tone.frequency_hz))
            colours, stds = split.colour_at(cell)
            colour = float(abs(colours[1]))
            told.append(rung)
            rows.append(
                (
                    rung.input_dbfs,
                    cell.tone.frequency_hz,
                    rung.reduction_db,
                    cell_of(cell.level(3)),
                    std_of(cell.level(3)),
                    _db(ripple),
                    _db(colour) if colour > 4 * stds[1] else None,
                )
            )
    names = ("input_dbfs", "frequency_hz", "reduction_db", "h3_dbc", "h3_std_db", "ripple_dbc", "colour_dbc")
    columns: dict[str, list[Cell]] = {name: [row[i] for row in rows] for i, name in enumerate(names)}
    units = dict(zip(names, ("dBFS", "Hz", "dB", "dBc", "dB", "dBc", "dBc"), strict=True))
    more = expected_columns(expected, static, told)
    return Table(columns | more, units | dict.fromkeys(more, "dBc"))


def _db(size: float) -> Cell:
    return 20 * math.log10(size) if size > 1e-12 else None
