"""Sentences and numbers of one profile that deny each other.

Reads the profile's JSON as a stranger would, and shares nothing with the package. Every check names what it holds against
what.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from tests.benchmarks.zoo.colour_contradictions import of_colour
from tests.benchmarks.zoo.told import NUMBER, Profile, Told, known


def contradictions(profile: Profile) -> list[str]:
    """Return what does not agree, a line each."""
    told = Told(profile)
    checks = (
        of_colour,
        _release_kind,
        _orphans,
        _levels,
        _times,
        _static,
        _response,
        _health,
    )
    return [line for check in checks for line in check(told)]


def _release_kind(told: Told) -> Iterator[str]:
    t50, t63, t90 = (told.number(f"release.{name}") for name in ("t50", "t63", "t90"))
    hold = told.number("release.hold") or 0.0
    one = told.number("release.stages") == 1 or any(told.says("one exponential"))
    tau = told.number("release.tau_1")
    if one and t63 is not None and t90 is not None and (own := tau or t63 - hold) > 0:
        ratio = 1 + (t90 - t63) / own
        if not 2.15 < ratio < 2.45:
            yield f"one exponential, but t90/t63 is {ratio:.2f} (2.30 of one exponential)"
    if one and t63 is not None and tau is not None:
        early = t63 - hold - tau
        if abs(early) > 0.1 * t63 and not (early > 0 and any(told.says("its start rounded"))):
            yield f"one exponential of {tau:.4g} s, but t63 {t63:.4g} s"
    if any(told.says(r"straight line of \d")) and t50 is not None and t90 is not None and t50 > hold:
        ratio = (t90 - hold) / (t50 - hold)
        rounded = any(told.says("its start rounded"))
        if not (1.0 if rounded else 1.6) < ratio < 2.0:
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
                    name in ("static.threshold", "static.ratio")
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
        row["time_s"] for row in told.rows("gain_trace") if row["edge"] == "release" and known(row, "time_s")
    ]
    if t63 is not None and trace and t63 > 1.02 * max(trace):
        conditions = told.profile["quantities"]["release.t63"]["conditions"]
        if not re.search(r"extrapolat|carried|law", conditions):
            yield f"release.t63 {t63:.4g} s lies beyond the record ({max(trace):.4g} s after the burst)"
    for row in told.rows("timing"):
        for edge in ("attack", "release"):
            parts = [row.get(f"{edge}_{name}_s") for name in ("t50", "t63", "t90")]
            times = [part for part in parts if part is not None]
            if times != sorted(times):
                yield f"timing row {row['from_dbfs']:g} to {row['to_dbfs']:g}, {row['hold_s']:g} s: {edge} times out of order"
            if any(part < -2 / told.rate_hz for part in times) and not ahead:
                yield f"timing row {row['from_dbfs']:g} to {row['to_dbfs']:g}: negative {edge} time, no look-ahead told"
    reduction = told.number("static.max_reduction")
    elsewhere = any(told.says(r"depends on the frequency"))  # the steps' own is as small, and said to be
    if reduction is not None and abs(reduction) < 0.1 and not elsewhere:
        for found in told.says(r"Attack |^Release |recovers"):
            yield f"'{found.string}' of a stage that reduces {reduction:.2f} dB"


def _static(told: Told) -> Iterator[str]:
    rows = [
        row
        for row in told.rows("static")
        if (row["settled"] or row["used"])
        and known(row, "gain_db", "input_dbfs")
        and not row.get("saturated")
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
        gains = [r["gain_db"] for r in rows]
        deepest = low - min(gains[gains.index(max(gains)) :])  # what an expander takes below is no reduction
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
        r for r in told.rows("response") if known(r, "magnitude_db") and 20 <= r["frequency_hz"] <= 20_000
    ]
    shelf = told.number("response.shelf_gain")
    if rows and shelf is not None and not any(told.says("Response .*-pass")):  # the shelf is all there is
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
    gains = [r["gain_db"] for r in told.rows("static") if known(r, "gain_db") and (r["settled"] or r["used"])]
    reach = max(gains) - min(gains) if gains else 0.0
    if "equals-stimulus" in codes and reach > 0.5:
        yield f"equals-stimulus, but the gain moves by {reach:.1f} dB with level"
    if "never-compresses" in codes and "output-saturated" not in codes and reach > 0.5:
        yield f"never-compresses, but the gain moves by {reach:.1f} dB with level"
    if "second-bend" not in codes and told.number("static.second_threshold") is not None:
        yield "a second threshold without second-bend"
    if "expander" in codes and gains and reach < 0.2:
        yield f"expander, but the gain moves by {reach:.2f} dB"
