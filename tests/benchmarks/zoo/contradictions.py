"""Sentences and numbers of one profile that deny each other.

Reads the profile's JSON as a stranger would, and shares nothing with the package. Every check names what it holds against
what.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import Any

Profile = dict[str, Any]
NUMBER = r"(-?\d+(?:\.\d+)?)"
SPARE_DB = 0.5
THD = {"0.1 %": -60.0, "1 %": -40.0}


def contradictions(profile: Profile, summary: str) -> list[str]:
    """Return what does not agree, a line each."""
    told = Told(profile, summary)
    checks = (
        _thd,
        _no_colour,
        _ripple,
        _release_kind,
        _orphans,
        _levels,
        _times,
        _static,
        _response,
        _health,
    )
    return [line for check in checks for line in check(told)]


class Told:
    """A profile with short ways to what it says."""

    def __init__(self, profile: Profile, summary: str) -> None:
        self.profile = profile
        self.findings = [text.replace("−", "-") for text in profile["findings"]]
        self.words = " ".join(summary.replace("−", "-").split())
        self.rate_hz = profile["capture"]["rate_hz"]

    def number(self, name: str) -> float | None:
        """Value of a quantity, None where there is none."""
        found = self.profile["quantities"].get(name, {}).get("value")
        return None if found is None else float(found)

    def span(self, name: str) -> tuple[float, float] | None:
        """Interval of a quantity."""
        entry = self.profile["quantities"].get(name, {})
        return None if entry.get("value") is None else (entry["low"], entry["high"])

    def bound(self, name: str) -> dict[str, float]:
        """Bound of a quantity without number."""
        found: dict[str, float] = self.profile["quantities"].get(name, {}).get("bound") or {}
        return found

    def rows(self, curve: str) -> list[dict[str, Any]]:
        """Rows of a curve."""
        columns = self.profile["curves"].get(curve, {}).get("columns", {})
        return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]

    def says(self, pattern: str) -> Iterator[re.Match[str]]:
        """Findings that match."""
        for text in self.findings:
            if found := re.search(pattern, text):
                yield found


def _numbers(row: dict[str, Any], *names: str) -> bool:
    return all(row.get(name) is not None for name in names)


def _thd(told: Told) -> Iterator[str]:
    rows = [row for row in told.rows("harmonics") if _numbers(row, "thd_dbc", "input_dbfs")]
    for found in told.says(rf"Distortion.*? stays below (0\.1 %|1 %).*? up to {NUMBER} dBFS"):
        share, top = found[1], float(found[2])
        loud = [
            row
            for row in rows
            if row["input_dbfs"] <= top + 0.05
            and row["thd_dbc"] > THD[share] + SPARE_DB
            and _meant(row["frequency_hz"], found.string)
        ]
        if loud:
            worst = max(loud, key=lambda row: row["thd_dbc"])
            yield f"'{found[0]}' but the table has {_tone(worst)} with {worst['thd_dbc']:.1f} dBc"
    for name, limit in (("minus60db", -60.0), ("minus40db", -40.0)):
        least = told.bound(f"colour.input_at_thd_{name}").get("at_least")
        conditions = told.profile["quantities"].get(f"colour.input_at_thd_{name}", {}).get("reason", "")
        if least is not None and "Hz" not in conditions:
            for row in rows:
                if row["input_dbfs"] <= least + 0.05 and row["thd_dbc"] > limit + SPARE_DB:
                    yield f"input at THD {limit:g} dB bounded from {least:.1f} dBFS, yet {_tone(row)} has {row['thd_dbc']:.1f}"
                    break
    for row in rows:
        parts = [row[f"h{n}_dbc"] for n in range(2, 11) if row.get(f"h{n}_dbc") is not None]
        total = 10 * math.log10(sum(10 ** (part / 10) for part in parts)) if parts else -300.0
        if total > row["thd_dbc"] + 1.5:
            yield f"THD of {_tone(row)} is {row['thd_dbc']:.1f} dBc, its harmonics alone make {total:.1f}"


def _meant(frequency_hz: float, sentence: str) -> bool:
    """Whether a sentence speaks of this frequency: of all, unless it names some."""
    named = [float(f[1]) * (1000 if f[2] else 1) for f in re.finditer(rf"{NUMBER} (k?)Hz", sentence)]
    return not named or any(math.isclose(hz, frequency_hz, rel_tol=0.02) for hz in named)


def _tone(row: dict[str, Any]) -> str:
    return f"{row['frequency_hz']:g} Hz at {row['input_dbfs']:.1f} dBFS"


def _no_colour(told: Told) -> Iterator[str]:
    denied = [
        *told.says(rf"No colour found(?: at .*?Hz)? up to {NUMBER} dBFS"),
        *told.says(rf"no colour beyond it.*? up to {NUMBER} dBFS"),
    ]
    for found in denied:
        top = float(found[1])
        for text in told.says(r"Keep steady peaks under|is colour\b|Colour shows|is (?:saturation|colour)\."):
            if _same_tone(found.string, text.string):
                yield f"'{found[0]}' beside '{text.string}'"
        for row in told.rows("harmonics"):
            if not _numbers(row, "thd_dbc") or row["input_dbfs"] > top + 0.05 or row["thd_dbc"] < -60:
                continue
            if not _meant(row["frequency_hz"], found.string):
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
                yield f"'{found[0]}' but THD of {_tone(row)} is {row['thd_dbc']:.1f} dBc, where {made}"
                break


def _same_tone(one: str, other: str) -> bool:
    """Whether two sentences may speak of one frequency."""
    named = [float(f[1]) * (1000 if f[2] else 1) for f in re.finditer(rf"{NUMBER} (k?)Hz", other)]
    return not named or any(_meant(hz, one) for hz in named)


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
                if _numbers(row, "h3_dbc", other):
                    most = 100 * 10 ** ((row[other] - row["h3_dbc"]) / 20)
                    if share > most + 20 and (span is None or span[0] > most):
                        yield f"'{found[0]}' but {other} {row[other]:.1f} against H3 {row['h3_dbc']:.1f} explains {most:.0f} %"
        for text in told.says(r"the rest is colour|is colour\.|smoother than that"):
            if share > 90 and "is colour" in text.string:
                yield f"'{found[0]}' beside '{text.string}'"


def _release_kind(told: Told) -> Iterator[str]:
    t50, t63, t90 = (told.number(f"release.{name}") for name in ("t50", "t63", "t90"))
    hold = told.number("release.hold") or 0.0
    one = told.number("release.stages") == 1 or any(told.says("one exponential"))
    if one and t63 is not None and t90 is not None:
        ratio = (t90 - hold) / (t63 - hold) if t63 > hold else math.inf
        if not 2.15 < ratio < 2.45:
            yield f"one exponential, but t90/t63 is {ratio:.2f} (2.30 of one exponential)"
    tau = told.number("release.tau_1")
    if one and t63 is not None and tau is not None and abs(tau - (t63 - hold)) > 0.1 * t63:
        yield f"one exponential of {tau:.4g} s, but t63 {t63:.4g} s"
    if any(told.says(r"straight line of \d")) and t50 is not None and t90 is not None and t50 > hold:
        ratio = (t90 - hold) / (t50 - hold)
        if not 1.6 < ratio < 2.0:
            yield f"a straight line, but t90/t50 is {ratio:.2f} (1.8 of a line)"
    memory, no_memory = told.span("release.memory"), any(told.says("no memory"))
    if no_memory and memory is not None and not memory[0] - 0.05 <= 1 <= memory[1] + 0.05:
        yield f"'no memory', but release.memory is {memory}"


SENTENCES = (
    (r"compresses \d", "static.ratio"),
    (r"compresses \d", "static.threshold"),
    (r"knee \d", "static.knee_width"),
    (r"Attack (?!to )\d", "attack.t63"),
    (r"^Release \d", "release.t63"),
    (r"in two stages", "release.tau_2"),
    (r"one exponential", "release.tau_1"),
    (r"straight line of \d", "release.rate"),
    (r"Ripple of the gain explains", "colour.ripple_share"),
    (r"no memory", "release.memory"),
    (r"harmonics lead by", "colour.even_odd_balance"),
    (r"its gain is -?\d", "static.low_level_gain"),
)


def _orphans(told: Told) -> Iterator[str]:
    """Sentences whose number is not published."""
    for pattern, name in SENTENCES:
        for found in told.says(pattern):
            if told.number(name) is None and not told.bound(name):
                if (
                    name == "static.threshold"
                    and re.search(rf"Above {NUMBER} dBFS it (limits|compresses)", found.string)
                    and (told.number("static.second_threshold") is not None)
                ):
                    continue
                yield f"'{found.string}' while {name} has no number"
    for name, pattern in (("static.ratio", rf"Above {NUMBER} dBFS it compresses {NUMBER}:1"),):
        for found in told.says(pattern):
            value = told.number(name)
            near = [v for v in (value, _ratio(told.number("static.second_slope"))) if v is not None]
            if near and all(abs(float(found[2]) - v) > 0.05 * v for v in near):
                yield f"'{found[0]}' while {name} is {value}"


def _ratio(slope: float | None) -> float | None:
    return 1 / slope if slope else None


def _levels(told: Told) -> Iterator[str]:
    played = [row["input_dbfs"] for row in told.rows("static") if row["input_dbfs"] is not None]
    if not played:
        return
    for name in (
        "static.threshold",
        "static.threshold_1db",
        "static.second_threshold",
        "static.lower_threshold",
    ):
        value = told.number(name)
        if value is not None and not min(played) - 0.5 <= value <= max(played) + 0.5:
            yield f"{name} {value:.1f} dBFS lies outside the levels played ({min(played):.0f} to {max(played):.0f})"


def _times(told: Told) -> Iterator[str]:
    ahead = told.number("attack.lookahead") is not None
    for edge in ("attack", "release"):
        names = [
            f"{edge}.{name}"
            for name in ("delay", "t50", "t63", "t90")
            if told.number(f"{edge}.{name}") is not None
        ]
        for name in names:
            value, span = told.number(name), told.span(name)
            assert value is not None and span is not None
            if value < -2 / told.rate_hz and not (ahead and edge == "attack"):
                yield f"{name} is negative ({value:.4g} s) and no look-ahead is told"
            if span[1] - span[0] > max(6 * abs(value), 10 / told.rate_hz):
                yield f"{name} {value:.4g} s has an interval of {span[0]:.4g} to {span[1]:.4g} s"
        values = [told.number(name) or 0.0 for name in names]
        if values != sorted(values):
            yield f"times out of order: {dict(zip(names, values, strict=True))}"
    t63 = told.number("release.t63")
    trace = [
        row["time_s"]
        for row in told.rows("gain_trace")
        if row["edge"] == "release" and _numbers(row, "time_s")
    ]
    if t63 is not None and trace and t63 > 1.02 * max(trace):
        conditions = told.profile["quantities"]["release.t63"]["conditions"]
        if not re.search(r"extrapolat|carried|law", conditions):
            yield f"release.t63 {t63:.4g} s lies beyond the record ({max(trace):.4g} s after the burst)"
    for row in told.rows("timing"):
        for edge in ("attack", "release"):
            parts = [row.get(f"{edge}_{name}_s") for name in ("t50", "t63", "t90")]
            known = [part for part in parts if part is not None]
            if known != sorted(known):
                yield f"timing row {row['from_dbfs']:g} to {row['to_dbfs']:g}, {row['hold_s']:g} s: {edge} times out of order"
            if any(part < -2 / told.rate_hz for part in known) and not ahead:
                yield f"timing row {row['from_dbfs']:g} to {row['to_dbfs']:g}: negative {edge} time, no look-ahead told"
    reduction = told.number("static.max_reduction")
    if reduction is not None and abs(reduction) < 0.1:
        for found in told.says(r"Attack |^Release |recovers"):
            yield f"'{found.string}' of a stage that reduces {reduction:.2f} dB"


def _static(told: Told) -> Iterator[str]:
    rows = [
        row
        for row in told.rows("static")
        if row["settled"] and _numbers(row, "gain_db", "input_dbfs") and not row.get("saturated")
    ]
    rows.sort(key=lambda row: row["input_dbfs"])
    low, one = told.number("static.low_level_gain"), told.number("static.threshold_1db")
    if low is not None and one is not None and rows:
        levels, gains = [r["input_dbfs"] for r in rows], [r["gain_db"] for r in rows]
        after = next((i for i, level in enumerate(levels) if level > one), None)
        if after and min(gains[after - 1], gains[after]) > low - 1 + 0.05:
            yield f"threshold_1db {one:.2f} dBFS, but the steps around it lie {low - gains[after]:.2f} dB below the low-level gain"
    most = told.number("static.max_reduction")
    if low is not None and most is not None and rows and most > 0:
        deepest = low - min(r["gain_db"] for r in rows)
        if abs(deepest - most) > 0.1:
            yield f"max_reduction {most:.2f} dB, the steps show {deepest:.2f}"
    slope, span = told.number("static.slope"), told.span("static.slope")
    part = re.search(
        rf"straight part from {NUMBER} dBFS to {NUMBER} dBFS",
        told.profile["quantities"].get("static.slope", {}).get("conditions", "").replace("−", "-"),
    )
    if slope is not None and span is not None and part:
        first, last = float(part[1]), float(part[2])
        inside = [r for r in rows if first - 0.2 <= r["input_dbfs"] <= last + 0.2 and r.get("used", True)]
        if len(inside) >= 3 and inside[-1]["input_dbfs"] - inside[0]["input_dbfs"] > 3:
            ends = (inside[0], inside[len(inside) // 2], inside[-1])
            for a, b in ((ends[0], ends[1]), (ends[1], ends[2])):
                if b["input_dbfs"] - a["input_dbfs"] < 1.4:
                    continue
                local = 1 + (b["gain_db"] - a["gain_db"]) / (b["input_dbfs"] - a["input_dbfs"])
                if abs(local - slope) > max(0.03, 1.5 * (span[1] - span[0])):
                    yield (
                        f"slope {slope:.4f} from {first:g} to {last:g} dBFS, but the steps from {a['input_dbfs']:.1f} to "
                        f"{b['input_dbfs']:.1f} have {local:.4f}"
                    )
                    break
    wide = told.span("static.ratio")
    if wide and wide[1] - wide[0] > 5 * abs(told.number("static.ratio") or 1):
        yield f"ratio {told.number('static.ratio')} has an interval of {wide[0]:g} to {wide[1]:g}"


def _response(told: Told) -> Iterator[str]:
    for text in told.findings:
        for found in re.finditer(rf"{NUMBER} (k?)Hz", text):
            value = float(found[1]) * (1000 if found[2] else 1)
            if value > told.rate_hz / 2:
                yield f"'{text}' names {value:g} Hz, above half the rate"
    for name in ("response.low_corner", "response.high_corner", "response.shelf_corner"):
        value = told.number(name)
        if value is not None and not 3 < value < told.rate_hz / 2:
            yield f"{name} is {value:g} Hz"
    rows = [
        r for r in told.rows("response") if _numbers(r, "magnitude_db") and 20 <= r["frequency_hz"] <= 20_000
    ]
    shelf = told.number("response.shelf_gain")
    if rows and shelf is not None:
        drive = min(r["drive_dbfs"] for r in rows)
        quiet = [r["magnitude_db"] for r in rows if r["drive_dbfs"] <= drive + 0.5]
        reach = max(quiet) - min(quiet)
        if abs(shelf) > 3 * reach + 0.3 or reach > 3 * abs(shelf) + 0.3:
            yield f"shelf gain {shelf:.2f} dB, the response spans {reach:.2f} dB"
        if any(told.says("no simple shape")):
            yield f"'no simple shape' beside a shelf gain of {shelf:.2f} dB"
    for found in told.says(
        rf"^Response at {NUMBER} dBFS: flat within ±{NUMBER} dB, {NUMBER} Hz to {NUMBER} kHz"
    ):
        drive, within, low, high = (float(part) for part in found.groups())
        here = [
            r for r in rows if abs(r["drive_dbfs"] - drive) < 1 and low <= r["frequency_hz"] <= 1000 * high
        ]
        spans = [r["magnitude_db"] for r in here]
        if spans and max(spans) - min(spans) > 2 * within + 0.02:
            yield f"'{found[0]}' but it spans {max(spans) - min(spans):.2f} dB"


def _health(told: Told) -> Iterator[str]:
    codes = {item["code"] for item in told.profile["health"]}
    gains = [r["gain_db"] for r in told.rows("static") if _numbers(r, "gain_db") and r["settled"]]
    reach = max(gains) - min(gains) if gains else 0.0
    if "equals-stimulus" in codes and reach > 0.5:
        yield f"equals-stimulus, but the gain moves by {reach:.1f} dB with level"
    if "never-compresses" in codes and "output-saturated" not in codes and reach > 0.5:
        yield f"never-compresses, but the gain moves by {reach:.1f} dB with level"
    if "second-bend" not in codes and told.number("static.second_threshold") is not None:
        yield "a second threshold without second-bend"
    if "expander" in codes and gains and reach < 0.2:
        yield f"expander, but the gain moves by {reach:.2f} dB"
    if re.search(r"no colour found up to", told.words) and re.search(r"Colour shows", told.words):
        yield "the summary says 'no colour found' and 'Colour shows'"
