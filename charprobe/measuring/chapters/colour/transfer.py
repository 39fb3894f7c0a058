"""The transfer curve of the hottest tone without gain reduction: a part of the colour chapter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from charprobe.estimators.colour.level_rung import LevelRung
from charprobe.estimators.colour.transfer import Memory, Transfer, memory_signs, transfer_curve
from charprobe.profile.entry import Table
from charprobe.values.wording import number_text, rounded_text

SAME_LEVEL_DB = 0.6  # tones this close belong to one level of the recipe
COLUMNS = {
    "input": "FS",
    "output": "FS",
    "output_std": "FS",
    "line": "FS",
    "deviation": "FS",
    "deviation_std": "FS",
    "frequency_hz": "Hz",
    "drive_dbfs": "dBFS",
    "memory": "",
}


def transfer(
    rungs: Sequence[LevelRung], ladder: Sequence[LevelRung]
) -> tuple[dict[str, Table], tuple[str, ...]]:
    """Draw the curve from the hottest rung of the ladder that ran without gain reduction.

    Parameters
    ----------
    rungs, ladder : sequence of LevelRung
        All tones, and those of the reference frequency, levels ascending.

    Returns
    -------
    tuple
        The curve ``transfer`` (none if no harmonic shows beyond the bypass) and sentences about it.
    """
    idle = [rung for rung in ladder if rung.at_rest and rung.origin == "colour"]
    if not idle:
        return {}, ()
    rung = idle[-1]
    curve = transfer_curve(rung.cell, input_dbfs=rung.input_dbfs)
    others = [
        other.cell
        for other in rungs
        if other is not rung and other.at_rest and abs(other.input_dbfs - rung.input_dbfs) < SAME_LEVEL_DB
    ]
    memory = memory_signs(rung.cell, others)
    if curve is None or memory is None:
        return {}, ()
    return {"transfer": _table(curve, rung, memory)}, (_sentence(curve, rung, memory),)


def _table(curve: Transfer, rung: LevelRung, memory: Memory) -> Table:
    size = curve.x.size
    columns = {
        "input": curve.x.tolist(),
        "output": curve.y.tolist(),
        "output_std": curve.std.tolist(),
        "line": (curve.slope * curve.x).tolist(),
        "deviation": curve.deviation.tolist(),
        "deviation_std": curve.deviation_std.tolist(),
        "frequency_hz": [rung.cell.tone.frequency_hz] * size,
        "drive_dbfs": [rung.input_dbfs] * size,
        "memory": [memory.found] * size,
    }
    return Table(columns, COLUMNS)


def _sentence(curve: Transfer, rung: LevelRung, memory: Memory) -> str:
    tone = f"{rounded_text(rung.cell.tone.frequency_hz)} Hz at {number_text(rung.input_dbfs, 1)} dBFS"
    if memory.found:
        spread = ""
        if memory.spread_db > 0:
            far = number_text(memory.spread_db, 1)
            spread = f", and harmonic {memory.order} differs by {far} dB between tones"
        turned = number_text(memory.phase_off_deg, 0)
        return (
            f"One transfer curve is not the whole story of the harmonics of {tone}: their phases lie "
            f"{turned}° off those of a curve{spread}. The colour has memory, or a filter stands beside it."
        )
    peak = 100 * float(np.max(np.abs(curve.deviation))) / (curve.slope * curve.drive)
    return (
        f"One transfer curve explains the harmonics of {tone}: its peaks lie {rounded_text(peak)} % off the "
        "straight line of small signals."
    )
