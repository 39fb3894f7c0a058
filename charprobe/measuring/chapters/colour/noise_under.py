"""Noise under a signal: what plays beside steady tones, against level, less the recorder's own."""

from __future__ import annotations

import math
from collections.abc import Sequence

from charprobe.estimators.colour.level_rung import LevelRung
from charprobe.profile.entry import Cell, Entry, Published, Table, cell_of, std_of
from charprobe.values.quantity import Quantity, Reading, Unmeasured, difference_db
from charprobe.values.wording import number_text, signed_text

LEAST_DB = 1.0  # the stage's own noise is told where the capture has so much more than the bypass
RISE_DB = 3.0  # rise from which a sentence is worth it
COLUMNS = {
    "input_dbfs": "dBFS",
    "frequency_hz": "Hz",
    "reduction_db": "dB",
    "noise_dbfs": "dBFS",
    "noise_std_db": "dB",
    "bypass_noise_dbfs": "dBFS",
    "bypass_noise_std_db": "dB",
    "own_noise_dbfs": "dBFS",
    "own_noise_std_db": "dB",
}


def noise_under_entries(ladder: Sequence[LevelRung], reference: LevelRung, at: str) -> dict[str, Entry]:
    """Noise beside the reference tone, and how far it rises from the quietest tone of the ladder."""
    words = f"20 Hz to 20 kHz beside {at}, harmonics and other lines left out"
    return {
        "noise.under_signal": Entry(_own(reference), f"{words}; recorder's noise taken off in power"),
        "noise.rise_under_signal": Entry(_rise(ladder[0], reference), _from_to(ladder[0], reference)),
    }


def noise_under_table(rungs: Sequence[LevelRung]) -> Table:
    """Noise beside every tone: captured, in the bypass, and what the stage adds."""
    rows = [
        (
            rung.input_dbfs,
            rung.cell.tone.frequency_hz,
            rung.reduction_db,
            *_both(rung.cell.noise),
            *_both(None if rung.rig is None else rung.rig.noise),
            *_both(_own(rung)),
        )
        for rung in rungs
    ]
    columns: dict[str, list[Cell]] = {name: [row[i] for row in rows] for i, name in enumerate(COLUMNS)}
    return Table(columns, COLUMNS)


def _both(reading: Reading | None) -> tuple[Cell, Cell]:
    return cell_of(reading), std_of(reading)


def noise_under_words(entries: Published) -> tuple[str, ...]:
    """Say that the noise rises with the signal, where it does."""
    rise, where = entries["noise.rise_under_signal"].reading, entries["noise.rise_under_signal"].conditions
    if not isinstance(rise, Quantity) or rise.low < RISE_DB:
        return ()
    return (f"The noise rises by {number_text(rise.value, 1)} dB with the signal ({where}).",)


def _own(rung: LevelRung) -> Reading:
    """Noise of a capture less that of the bypass, in power."""
    heard = rung.cell.noise
    if heard is None:
        return Unmeasured(
            "dBFS", "the tone is too short to hear noise beside it", "a recipe with longer tones"
        )
    if rung.rig is None or rung.rig.noise is None:
        reason = "there is no bypass capture, so the recorder's noise cannot be taken off"
        return Unmeasured("dBFS", reason, "record the bypass and give it", at_most=heard.high)
    path = rung.rig.noise
    if heard.value - path.value < LEAST_DB or heard.low <= path.high:
        reason = f"within {LEAST_DB:g} dB of the bypass: what is heard is mostly the recording path"
        return Unmeasured("dBFS", reason, "a quieter recording path", at_most=heard.high)
    whole, rig = (10 ** (noise.value / 10) for noise in (heard, path))
    std = math.hypot(whole * heard.std, rig * path.std) / (whole - rig)
    return Quantity.from_std(10 * math.log10(whole - rig), std, "dBFS")


def _rise(quiet: LevelRung, loud: LevelRung) -> Reading:
    low, high = quiet.cell.noise, loud.cell.noise
    if low is None or high is None:
        return Unmeasured(
            "dB", "the tones are too short to hear noise beside them", "a recipe with longer tones"
        )
    if quiet is loud:
        return Unmeasured("dB", "there is one level of tones only", "a recipe with tones at several levels")
    return difference_db(high, low)


def _from_to(quiet: LevelRung, loud: LevelRung) -> str:
    tone = loud.cell.tone
    low, high = (None if rung.rig is None else rung.rig.noise for rung in (quiet, loud))
    bypass = ""
    if low is not None and high is not None:
        bypass = f"; the bypass changes by {signed_text(difference_db(high, low).value, 1)} dB"
    levels = " to ".join(number_text(rung.input_dbfs, 1) for rung in (quiet, loud))
    return f"{tone.frequency_hz:g} Hz from {levels} dBFS{bypass}"
