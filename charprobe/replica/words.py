"""Predictions in words for a recordist, and as a table; every sentence says its conditions."""

from __future__ import annotations

from collections.abc import Sequence

from charprobe.replica.predict import Prediction
from charprobe.values.wording import literal, number_text, signed_text

IDLE_DB = 0.5  # of reduction, at most: the stage does not move
GENTLE_DB, FIRM_DB = 3.0, 7.0  # mean reduction
QUICK_SHARE = 0.25  # of what answers attacks that gets through: from here on the stage lets them pass
HEARD_OUT_DB = 1.0  # by which attacks stand out more: worth a word
HEARD_DB = -50.0  # distortion on peaks that is worth a word
_COLUMNS = {  # of numbers: what stands there, decimals, how it is written
    "peak": ("peak_dbfs", 1, number_text), "mean": ("mean_db", 1, number_text),
    "typical": ("typical_db", 1, number_text), "most": ("most_db", 1, number_text),
    "crest": ("crest_change_db", 1, signed_text), "loudness": ("loudness_change_lu", 1, signed_text),
    "attack": ("attack_through_db", 1, signed_text), "swing": ("swing_db", 1, number_text),
    "let go": ("let_go_s", 3, number_text), "distortion": ("distortion_db", 0, number_text),
}  # fmt: skip


def sentence(one: Prediction) -> str:
    """Say in a sentence or two what a setting does to a material at a drive.

    Examples
    --------
    >>> print(sentence(Prediction("Vocal", "a voice", -12.0, 2.9, 2.6, 8.1, -1.5, 0.4, 0.3, 5.0, 0.2,
    ...                           None, False, attack_share=0.1)))
    Vocal, quick and gentle on a voice peaking at −12 dBFS: 3 dB on average, 8 dB at most; 0.4 LU louder.
    """
    name, peak = literal(one.setting), number_text(one.peak_dbfs, 0)
    where = f"{literal(one.material)} peaking at {peak} dBFS"
    why = ["louder than it was measured"] * one.beyond + ["the replica does not meet the setting"] * one.poor
    why += ["a plug-in may answer otherwise at another rate than it was captured at"] * one.other_rate
    guess = f" (a guess: {' and '.join(why)})" if why else ""
    if one.most_db < IDLE_DB and one.mean_db < -IDLE_DB:
        return f"{name} lifts {where} by {number_text(-one.mean_db, 0)} dB on average{guess}{_after(one)}."
    if one.most_db < IDLE_DB:
        return f"{name} does not reduce {where}{guess}{_after(one)}."
    force = "gentle" if one.mean_db < GENTLE_DB else "firm" if one.mean_db < FIRM_DB else "hard"
    pace = ""
    if one.attack_share is not None and one.most_db >= GENTLE_DB:
        pace = "quick and " if one.attack_share < QUICK_SHARE else "slow on attacks and "
    return (
        f"{name}, {pace}{force} on {where}: {number_text(one.mean_db, 0)} dB on average, "
        f"{number_text(one.most_db, 0)} dB at most{guess}{_after(one)}."
    )


def _after(one: Prediction) -> str:
    parts = []
    if one.attack_through_db is not None and abs(one.attack_through_db) >= HEARD_OUT_DB:
        how = "further out" if one.attack_through_db > 0 else "less far out"
        parts.append(f"attacks stand {abs(one.attack_through_db):.0f} dB {how}")
    if one.let_go_s is not None and one.most_db >= IDLE_DB and one.material == "drums":
        time = f"{1000 * one.let_go_s:.0f} ms" if one.let_go_s < 1 else f"{one.let_go_s:.1f} s"
        parts.append(f"a strong stroke holds it down for {time}")
    if one.loudness_change_lu is not None and abs(one.loudness_change_lu) >= 0.1:
        way = "louder" if one.loudness_change_lu > 0 else "softer"
        parts.append(f"{abs(one.loudness_change_lu):.1f} LU {way}")
    if one.distortion_db is not None and one.distortion_db > HEARD_DB:
        parts.append(f"colour at {number_text(one.distortion_db, 0)} dB on the loudest moments")
    return "".join(f"; {part}" for part in parts)


def table(predictions: Sequence[Prediction]) -> str:
    """Lay predictions out as a table of plain text: dB but for loudness (LU), time (s) and peak (dBFS)."""
    rows = [("setting", "material", *_COLUMNS), *(_row(one) for one in predictions)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = [
        "  ".join(
            cell.ljust(width) if k < 2 else cell.rjust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
    return "\n".join(lines)


def _row(one: Prediction) -> tuple[str, ...]:
    values = ((getattr(one, name), decimals, text) for name, decimals, text in _COLUMNS.values())
    shown = ("–" if value is None else text(value, decimals) for value, decimals, text in values)
    return literal(one.setting), literal(one.material), *shown
