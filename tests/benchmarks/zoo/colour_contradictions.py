"""Sentences on colour and ripple that deny the tables of harmonics."""

from __future__ import annotations

import math
from collections.abc import Iterator

from tests.benchmarks.zoo.told import NUMBER, Told, known, same_tone, speaks_of, tone_words

SPARE_DB = 0.5
THD = {"0.1 %": -60.0, "1 %": -40.0}


def of_colour(told: Told) -> Iterator[str]:
    """All of them."""
    for check in (_thd, _no_colour, _ripple):
        yield from check(told)


def _thd(told: Told) -> Iterator[str]:
    rows = [row for row in told.rows("harmonics") if known(row, "thd_dbc", "input_dbfs")]
    for found in told.says(rf"Distortion.*? stays below (0\.1 %|1 %).*? up to {NUMBER} dBFS"):
        share, top = found[1], float(found[2])
        loud = [
            row
            for row in rows
            if row["input_dbfs"] <= top + 0.05
            and row["thd_dbc"] > THD[share] + SPARE_DB
            and speaks_of(row["frequency_hz"], found.string)
        ]
        if loud:
            worst = max(loud, key=lambda row: row["thd_dbc"])
            yield f"'{found[0]}' but the table has {tone_words(worst)} with {worst['thd_dbc']:.1f} dBc"
    for name, limit in (("minus60db", -60.0), ("minus40db", -40.0)):
        least = told.bound(f"colour.input_at_thd_{name}").get("at_least")
        conditions = told.profile["quantities"].get(f"colour.input_at_thd_{name}", {}).get("reason", "")
        if least is not None and "Hz" not in conditions:
            for row in rows:
                if row["input_dbfs"] <= least + 0.05 and row["thd_dbc"] > limit + SPARE_DB:
                    yield f"input at THD {limit:g} dB bounded from {least:.1f} dBFS, yet {tone_words(row)} has {row['thd_dbc']:.1f}"
                    break
    for row in rows:
        parts = [row[f"h{n}_dbc"] for n in range(2, 11) if row.get(f"h{n}_dbc") is not None]
        total = 10 * math.log10(sum(10 ** (part / 10) for part in parts)) if parts else -300.0
        if total > row["thd_dbc"] + 1.5:
            yield f"THD of {tone_words(row)} is {row['thd_dbc']:.1f} dBc, its harmonics alone make {total:.1f}"


def _no_colour(told: Told) -> Iterator[str]:
    denied = [
        *told.says(rf"No colour found(?: at .*?Hz)? up to {NUMBER} dBFS"),
        *told.says(rf"no colour beyond it.*? up to {NUMBER} dBFS"),
    ]
    for found in denied:
        top = float(found[1])
        ripples = "|Keep steady peaks under" if found[0].startswith("No colour") else ""  # so does ripple
        for text in told.says(rf"is colour\b|Colour shows|is (?:saturation|colour)\.{ripples}"):
            if same_tone(found.string, text.string):
                yield f"'{found[0]}' beside '{text.string}'"
        for row in told.rows("harmonics"):
            if not known(row, "thd_dbc") or row["input_dbfs"] > top + 0.05 or row["thd_dbc"] < -60:
                continue
            if not speaks_of(row["frequency_hz"], found.string):
                continue
            ripple = next(
                (
                    r["ripple_dbc"]
                    for r in told.rows("colour_and_ripple")
                    if r["frequency_hz"] == row["frequency_hz"]
                    and abs(r["input_dbfs"] - row["input_dbfs"]) < 0.1
                ),
                None,
            )
            third = row["thd_dbc"] if ripple is None or row.get("h3_dbc") is None else row["h3_dbc"]
            if ripple is None or third > ripple + 3:
                made = (
                    "no ripple is known" if ripple is None else f"ripple makes {ripple:.1f} of H3 {third:.1f}"
                )
                yield f"'{found[0]}' but THD of {tone_words(row)} is {row['thd_dbc']:.1f} dBc, where {made}"
                break


def _ripple(told: Told) -> Iterator[str]:
    for found in told.says(
        rf"Ripple of the gain explains {NUMBER} % of the third harmonic of {NUMBER} Hz at {NUMBER} dBFS"
    ):
        share, frequency_hz, level = (float(part) for part in found.groups())
        span = told.span("colour.ripple_share")
        for row in told.rows("colour_and_ripple"):
            if row["frequency_hz"] != frequency_hz or abs(row["input_dbfs"] - level) > 0.1:
                continue
            for other in ("ripple_dbc", "expected_high_dbc"):
                if known(row, "h3_dbc", other):
                    most = 100 * 10 ** ((row[other] - row["h3_dbc"]) / 20)
                    if share > most + 20 and (span is None or span[0] > most):
                        yield f"'{found[0]}' but {other} {row[other]:.1f} against H3 {row['h3_dbc']:.1f} explains {most:.0f} %"
        for text in told.says(r"the rest is colour|is colour\.|smoother than that"):
            if share > 90 and "is colour" in text.string:
                yield f"'{found[0]}' beside '{text.string}'"
