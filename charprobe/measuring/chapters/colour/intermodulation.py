"""Intermodulation of pairs of tones, quiet and loud: a part of the colour chapter."""

from __future__ import annotations

import math
from dataclasses import dataclass

from charprobe.estimators.colour.intermodulation import MODULATION, UPPER, TwoToneFit, measure_pairs
from charprobe.measuring.chapters.lookup import absent, counterpart
from charprobe.placing.take import Take, held, once
from charprobe.profile.entry import Cell, Chapter, Entry, Table, cell_of, known, std_of
from charprobe.stimulus.kinds.segment import SegmentOf
from charprobe.stimulus.kinds.two_tone import TwoTone
from charprobe.values.quantity import Quantity, Unmeasured
from charprobe.values.wording import number_text, rounded_text

NAMES = ("colour.imd_smpte", "colour.imd_difference")
RECIPE = "colour"
REFERENCE_DBFS = -10.0
NEAR_RIG_DB = 6.0
COLUMNS = {
    "lower_hz": "Hz",
    "upper_hz": "Hz",
    "lower_over_upper": "",
    "peak_dbfs": "dBFS",
    "fall_db": "dB",
    "total_db": "dB",
    "total_std_db": "dB",
    **{f"d{order}_{name}": "dB" for order in range(2, len(MODULATION) + 2) for name in ("db", "std_db")},
    "limit_db": "dB",
    "bypass_total_db": "dB",
    "bypass_total_std_db": "dB",
}


@dataclass(frozen=True)
class TwoToneStep:
    """One level of a pair in the setting and the bypass, and how far its gain fell from the quietest."""

    pair: TwoToneFit
    rig: TwoToneFit | None
    fall_db: float


def intermodulation(wet: Take, bypass: Take | None) -> Chapter:
    """Measure the intermodulation of a setting from its two_tone segments.

    Parameters
    ----------
    wet, bypass : Take
        Captures of the setting and, if there is one, of the bypass.
    """
    entries = absent(wet, TwoTone, NAMES, recipe=RECIPE)
    sets = [_steps(wet, bypass, segment) for segment in held(wet, TwoTone)]
    sets = [steps for steps in sets if steps]
    for steps in sets:
        name = _name(steps)
        reference = min(steps, key=lambda step: abs(step.pair.tone.level_dbfs - REFERENCE_DBFS))
        entries[name] = Entry(reference.pair.total, _words(reference) + _near_rig(reference))
    if sets:
        entries |= _missing(entries)
    curves = {"intermodulation": _table([step for steps in sets for step in steps])} if sets else {}
    return Chapter(
        entries,
        curves,
        words=lambda published: [
            s for steps in sets if known(published, _name(steps)) for s in _sentences(steps)
        ],
    )


def _name(steps: list[TwoToneStep]) -> str:
    return "colour.imd_difference" if steps[0].pair.is_difference else "colour.imd_smpte"


def _missing(entries: dict[str, Entry]) -> dict[str, Entry]:
    """Say which pair is missing where the recipe has only the other."""
    needs = {
        "colour.imd_smpte": "no pair of a strong low and a weak high tone",
        "colour.imd_difference": "no pair of equal tones",
    }
    return {
        name: Entry(Unmeasured("dB", f"the recipe has {need}", f"a capture of the recipe {RECIPE}"), "")
        for name, need in needs.items()
        if not entries[name].conditions
    }


def _steps(wet: Take, bypass: Take | None, segment: SegmentOf[TwoTone]) -> list[TwoToneStep]:
    same = counterpart(bypass, segment)
    rigs: dict[int, TwoToneFit] = {}
    if bypass is not None and same is not None:
        rigs = {pair.tone.group: pair for pair in _pairs(bypass, same)}
    pairs = sorted(_pairs(wet, segment), key=lambda pair: pair.tone.level_dbfs)
    gains = [_gain_db(pair, rigs.get(pair.tone.group)) for pair in pairs]
    return [
        TwoToneStep(pair, rigs.get(pair.tone.group), max(0.0, gains[0] - gain))
        for pair, gain in zip(pairs, gains, strict=True)
    ]


@once
def _pairs(take: Take, segment: SegmentOf[TwoTone]) -> tuple[TwoToneFit, ...]:
    return measure_pairs(take.segment(segment), segment)


def _gain_db(pair: TwoToneFit, rig: TwoToneFit | None) -> float:
    """Gain of the high tone, over the bypass where there is one."""
    played = 10 ** (pair.tone.level_dbfs / 20) / (1 + pair.spec.lower_over_upper)
    return 20 * math.log10(pair.amplitudes[UPPER] / (rig.amplitudes[UPPER] if rig else played))


def _words(step: TwoToneStep) -> str:
    spec = step.pair.spec
    ratio = "equal" if step.pair.is_difference else f"{rounded_text(spec.lower_over_upper)}:1"
    fall = number_text(step.fall_db, 1)
    moved = (
        "gain as at the quietest pair" if step.fall_db < 0.1 else f"gain {fall} dB below the quietest pair's"
    )
    tones = f"{rounded_text(spec.lower_hz, 5)} and {rounded_text(spec.upper_hz, 5)} Hz"
    return f"{tones}, {ratio}, at a peak of {number_text(step.pair.tone.level_dbfs, 1)} dBFS, {moved}"


def _near_rig(step: TwoToneStep) -> str:
    if step.rig is None:
        return "; no bypass to compare with"
    wet, rig = step.pair.total, step.rig.total
    if isinstance(wet, Unmeasured) or isinstance(rig, Unmeasured):
        return ""
    return "; within 6 dB of the bypass" if wet.value < rig.value + NEAR_RIG_DB else ""


def _sentences(steps: list[TwoToneStep]) -> list[str]:
    """One sentence for a pair: quiet and loud, where the loud one shows anything beyond the bypass."""
    quiet, loud = steps[0], steps[-1]
    total = loud.pair.total
    if isinstance(total, Unmeasured) or "within" in _near_rig(loud):
        return []
    sentence = f"Intermodulation is {number_text(total.value, 1)} dB for {_words(loud)}"
    if quiet is loud:
        return [f"{sentence}."]
    low = quiet.pair.total
    at = f"at a peak of {number_text(quiet.pair.tone.level_dbfs, 1)} dBFS"
    if isinstance(low, Quantity):
        return [f"{sentence}; it is {number_text(low.value, 1)} dB {at}."]
    assert low.at_most is not None
    return [f"{sentence}; it stays below {number_text(low.at_most, 1)} dB {at}."]


def _table(steps: list[TwoToneStep]) -> Table:
    rows = [_row(step) for step in steps]
    return Table({name: [row[name] for row in rows] for name in COLUMNS}, COLUMNS)


def _row(step: TwoToneStep) -> dict[str, Cell]:
    pair, spec = step.pair, step.pair.spec
    highest = 3 if pair.is_difference else len(MODULATION) + 1
    orders = {
        f"d{order}_{name}": of(pair.order(order)) if order <= highest else None
        for order in range(2, len(MODULATION) + 2)
        for name, of in (("db", cell_of), ("std_db", std_of))
    }
    return {
        "lower_hz": spec.lower_hz,
        "upper_hz": spec.upper_hz,
        "lower_over_upper": spec.lower_over_upper,
        "peak_dbfs": pair.tone.level_dbfs,
        "fall_db": step.fall_db,
        "total_db": cell_of(pair.total),
        "total_std_db": std_of(pair.total),
        **orders,
        "limit_db": pair.limit_db,
        "bypass_total_db": None if step.rig is None else cell_of(step.rig.total),
        "bypass_total_std_db": None if step.rig is None else std_of(step.rig.total),
    }
