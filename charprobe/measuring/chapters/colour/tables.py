"""Tables and sentences of the colour chapter."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence

import numpy as np

from charprobe.estimators.colour.harmonics import HIGHEST
from charprobe.estimators.colour.readings import Growth, LevelRung, growth_laws
from charprobe.estimators.colour.ripple import Split
from charprobe.measuring.chapters.colour.expected import ExpectedRipple, expected_columns
from charprobe.measuring.chapters.lookup import Reduction
from charprobe.profile.entry import Cell, Entry, Table, cell_of
from charprobe.values.quantity import Quantity, Reading
from charprobe.values.wording import number_text

ORDERS = range(2, HIGHEST + 1)
MINUS = re.compile(r"(?<![\w-])-(?=\d)")


def colour_curves(
    rungs: Sequence[LevelRung],
    splits: Sequence[Split],
    ladder: Sequence[LevelRung],
    *,
    expected: ExpectedRipple | None,
    static: Reduction | None,
) -> dict[str, Table]:
    """Tables of the chapter: harmonics, growth per order, colour beside ripple where there is reduction."""
    curves = {"harmonics": _harmonics_table(rungs), "harmonic_growth": _growth_table(growth_laws(ladder))}
    if splits:
        curves["colour_and_ripple"] = _ripple_table(rungs, splits, expected, static)
    return curves


def colour_findings(ladder: Sequence[LevelRung], entries: Mapping[str, Entry]) -> tuple[str, ...]:
    """Sentences for a recordist, each drawn from the readings."""
    out = []
    out += _onset_words(ladder, entries["colour.onset"].reading)
    for name, share in (("minus60db", "0.1 %"), ("minus40db", "1 %")):
        level = entries[f"colour.input_at_thd_{name}"].reading
        if isinstance(level, Quantity):
            safe = math.floor(level.low * 10) / 10
            peak = number_text(safe, 1)
            out.append(f"Keep steady peaks under {peak} dBFS to stay below {share} distortion.")
        elif level.at_least is not None:
            out.append(f"Distortion stays below {share} up to {number_text(level.at_least, 1)} dBFS.")
    entry = entries["colour.even_odd_balance"]
    balance, where = entry.reading, entry.conditions
    if isinstance(balance, Quantity):
        lead = "even" if balance.value > 0 else "odd"
        out.append(f"The {lead} harmonics lead by {number_text(abs(balance.value), 1)} dB at {where}.")
    elif balance.at_most is not None or balance.at_least is not None:
        out.append(f"{balance.reason[0].upper()}{balance.reason[1:]} at {where}.")
    share_entry = entries["colour.ripple_share"]
    ripple = share_entry.reading
    if isinstance(ripple, Quantity) and ripple.low > 0:
        out.append(f"Ripple of the gain explains {ripple.value:.0f} % of the {share_entry.conditions}.")
    return tuple(MINUS.sub("−", sentence) for sentence in out)


def _onset_words(ladder: Sequence[LevelRung], onset: Reading) -> list[str]:
    """Where colour begins; harmonics that ripple explains are named as such."""
    if isinstance(onset, Quantity):
        return [f"Colour shows from {number_text(onset.value, 1)} dBFS up."]
    if onset.at_most is not None:
        return [f"Colour shows at every level played, from {number_text(onset.at_most, 1)} dBFS up."]
    if onset.at_least is None:
        return []
    rippling = [rung for rung in ladder if not rung.idle and rung.cell.detected(3) and not rung.near_rig(3)]
    if not rippling:
        return [f"{onset.reason[0].upper()}{onset.reason[1:]}."]
    return [
        "Harmonics under gain reduction are gain ripple: "
        f"no colour beyond it up to {number_text(onset.at_least, 1)} dBFS."
    ]


def _harmonics_table(rungs: Sequence[LevelRung]) -> Table:
    columns: dict[str, list[Cell]] = {
        "input_dbfs": [rung.input_dbfs for rung in rungs],
        "frequency_hz": [rung.cell.tone.frequency_hz for rung in rungs],
        "reduction_db": [rung.reduction_db for rung in rungs],
        "fundamental_dbfs": [cell_of(rung.cell.fundamental) for rung in rungs],
    }
    units = {"input_dbfs": "dBFS", "frequency_hz": "Hz", "reduction_db": "dB", "fundamental_dbfs": "dBFS"}
    for order in ORDERS:
        columns[f"h{order}_dbc"] = [cell_of(rung.cell.level(order)) for rung in rungs]
        units[f"h{order}_dbc"] = "dBc"
    for order in ORDERS:
        columns[f"h{order}_deg"] = [cell_of(rung.cell.phase(order)) for rung in rungs]
        units[f"h{order}_deg"] = "deg"
    columns["thd_dbc"] = [cell_of(rung.cell.thd) for rung in rungs]
    columns["limit_dbc"] = [_limit(rung) for rung in rungs]
    columns["bypass_thd_dbc"] = [None if rung.rig is None else cell_of(rung.rig.thd) for rung in rungs]
    columns["near_bypass"] = [
        " ".join(f"h{order}" for order in ORDERS if rung.near_rig(order)) for rung in rungs
    ]
    return Table(
        columns,
        units | {"thd_dbc": "dBc", "limit_dbc": "dBc", "bypass_thd_dbc": "dBc", "near_bypass": ""},
    )


def _limit(rung: LevelRung) -> Cell:
    limits = rung.cell.limits_dbc
    return float(np.max(limits)) if limits.size else None


def _growth_table(laws: Sequence[Growth]) -> Table:
    return Table(
        {
            "order": [law.order for law in laws],
            "slope": [law.slope.value for law in laws],
            "slope_low": [law.slope.low for law in laws],
            "slope_high": [law.slope.high for law in laws],
            "from_dbfs": [law.from_dbfs for law in laws],
            "to_dbfs": [law.to_dbfs for law in laws],
        },
        {
            "order": "",
            "slope": "dB/dB",
            "slope_low": "dB/dB",
            "slope_high": "dB/dB",
            "from_dbfs": "dBFS",
            "to_dbfs": "dBFS",
        },
    )


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
                    _db(ripple),
                    _db(colour) if colour > 4 * stds[1] else None,
                )
            )
    names = ("input_dbfs", "frequency_hz", "reduction_db", "h3_dbc", "ripple_dbc", "colour_dbc")
    columns: dict[str, list[Cell]] = {name: [row[i] for row in rows] for i, name in enumerate(names)}
    units = dict(zip(names, ("dBFS", "Hz", "dB", "dBc", "dBc", "dBc"), strict=True))
    more = expected_columns(expected, static, told)
    return Table(columns | more, units | dict.fromkeys(more, "dBc"))


def _db(size: float) -> Cell:
    return 20 * math.log10(size) if size > 1e-12 else None
