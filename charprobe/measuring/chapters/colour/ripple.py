"""How much of the harmonics under gain reduction is ripple of the gain: a part of the colour chapter."""

from __future__ import annotations

from collections.abc import Sequence

from charprobe.estimators.colour.harmonic_cell import HarmonicCell
from charprobe.estimators.colour.level_rung import LevelRung
from charprobe.estimators.colour.ripple import LEAST_FREQUENCIES, Split
from charprobe.measuring.chapters.colour.expected import ExpectedRipple, beside_share
from charprobe.measuring.chapters.lookup import Reduction
from charprobe.profile.entry import Entry
from charprobe.profile.glossary import term
from charprobe.values.quantity import Quantity, Reading, Unmeasured
from charprobe.values.wording import number_text

REFERENCE_DBFS = -10.0
SAME_LEVEL_DB = 0.6  # tones this close belong to one level of the recipe
CLEAR_REDUCTION_DB = 1.0  # the share of ripple is judged where there is at least this much


def split_of(splits: Sequence[Split], cell: HarmonicCell) -> Split | None:
    """The split that a tone belongs to, if its level was split."""
    return next((split for split in splits if any(one is cell for one in split.cells)), None)


def tone_words(rung: LevelRung) -> str:
    """Say which tone a reading is of, and what the gain did."""
    tone = rung.cell.tone
    if rung.reduced_db is None:
        reduction = "gain reduction not known"
    elif rung.idle and rung.reduced_db >= CLEAR_REDUCTION_DB:
        reduction = f"gain {number_text(rung.reduced_db, 1)} dB lower, no more than saturation may take"
    elif rung.idle:
        reduction = "no gain reduction"
    elif rung.reduction_db is None:
        reduction = f"gain {number_text(rung.reduced_db, 1)} dB lower than of quieter tones"
    elif rung.reduction_db < 0:
        reduction = f"gain {number_text(-rung.reduction_db, 1)} dB above that of the lowest levels"
    else:
        reduction = f"{number_text(rung.reduction_db, 1)} dB of gain reduction"
    return f"{tone.frequency_hz:g} Hz at {number_text(rung.input_dbfs, 1)} dBFS, {reduction}"


def rippling_rung(rungs: Sequence[LevelRung], reference_hz: float) -> LevelRung | None:
    """Return the tone at which ripple is judged: the reference if its third harmonic shows, else the lowest.

    None without a level clearly under gain reduction. Ripple is largest at the lowest tone.
    """
    clear = [
        rung
        for rung in rungs
        if rung.reduced_db is not None and rung.reduced_db >= CLEAR_REDUCTION_DB and rung.colour is not None
    ]
    if not clear:
        return None
    nearest = min(abs(rung.input_dbfs - REFERENCE_DBFS) for rung in clear)
    level = [rung for rung in clear if abs(rung.input_dbfs - REFERENCE_DBFS) < nearest + SAME_LEVEL_DB]
    level.sort(key=lambda rung: (rung.cell.tone.frequency_hz != reference_hz, rung.cell.tone.frequency_hz))
    return next((rung for rung in level if rung.cell.detected(3)), level[0])


def ripple_entries(
    splits: Sequence[Split],
    rungs: Sequence[LevelRung],
    shown: LevelRung | None,
    expected: ExpectedRipple | None,
    static: Reduction | None,
) -> dict[str, Entry]:
    """Share of ripple and ripple expected, at the tone at which ripple is judged."""
    share, foretold = "colour.ripple_share", "colour.ripple_expected"
    if shown is None:
        return {name: _no_ripple(rungs, term(name).unit) for name in (share, foretold)}
    split = split_of(splits, shown.cell)
    assert split is not None
    third = f"third harmonic of {tone_words(shown)}"
    unknown = Unmeasured(term(foretold).unit, "attack and release were not measured", "a recipe with bursts")
    told: Reading = split.share(shown.cell, uncoloured=shown.origin == "ripple")
    if shown.origin == "either":
        told = Unmeasured(
            "%",
            f"the {third} may be ripple of the gain or colour",
            "the recipe colour with the compressor off",
        )
    likely = None if expected is None else beside_share(expected.third(shown, static), told)
    return {
        share: Entry(told, third),
        foretold: Entry(unknown, "") if likely is None else Entry(likely, third),
    }


def _no_ripple(rungs: Sequence[LevelRung], unit: str) -> Entry:
    """Say why there is nothing to judge ripple by."""
    if all(rung.reduced_db is None for rung in rungs):
        reason = "it is not known which tones ran under gain reduction"
        return Entry(Unmeasured(unit, reason, "a recipe with level_steps beside the tones"), "")
    if all(rung.idle for rung in rungs):
        words = "no gain reduction at any level of the tones"
        if unit == "%":
            return Entry(Quantity(0.0, 0.0, 0.0, unit), words)
        return Entry(Unmeasured(unit, f"{words}, so no ripple", "none needed"), "")
    reason = (
        f"no level of the tones shows {CLEAR_REDUCTION_DB:g} dB of gain reduction at "
        f"{LEAST_FREQUENCIES} frequencies"
    )
    return Entry(Unmeasured(unit, reason, "a recipe with hotter tones at three frequencies"), "")
