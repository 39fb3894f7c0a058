"""A profile against the truth of the stage it was taken of: number by number."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from charprobe.profile import glossary
from tests.benchmarks.zoo.bursts import BurstTruth, Edge
from tests.benchmarks.zoo.truth import Truth

WIDER = 1.5
CLEAR_DB = 20.0  # harmonics are judged from here over the limit of detection, as the goal says
NUMBER = r"(-?\d+(?:\.\d+)?)"
STRAIGHT = rf"straight part from {NUMBER} dBFS to {NUMBER} dBFS"
OF_STAGE = {
    "unsettled": ("static",),
    "gap-too-short": ("attack", "release"),
    "history-dependent": ("static", "attack", "release"),
    "output-saturated": ("static",),
    "second-bend": ("static",),
    "always-compresses": ("static",),
    "never-compresses": (),
    "expander": (),
    "upward-compression": (),
    "below-resolution": ("attack",),
}
"""What a warning about the stage speaks of; any other warning speaks of the whole capture."""

OF_ROWS = {
    "static points": "static",
    "attack rows": "attack",
    "release rows": "release",
    "harmonic rows": "colour",
    "tone gain rows": "colour",
    "response points": "response",
}
Range = tuple[float, float]


@dataclass(frozen=True)
class Judged:
    """One published number, bound or refusal beside the truth.

    `low` and `high` are None where no interval is given; `allowed` is the goal, None where there is none. `kind` is
    number, bound or withheld; `warned` tells that a warning speaks of it.
    """

    stage: str
    group: str
    name: str
    kind: str
    value: float
    low: float | None
    high: float | None
    truth: Range
    allowed: float | None
    warned: bool
    reason: str = ""

    @property
    def error(self) -> float:
        """Distance of the value from the truth."""
        return max(self.truth[0] - self.value, self.value - self.truth[1], 0.0)

    @property
    def covered(self) -> bool:
        """Whether the interval holds the truth."""
        return self._within(1.0)

    def _within(self, wider: float) -> bool:
        if self.low is None or self.high is None:
            return self.allowed is None or self.error <= self.allowed
        low = self.value - wider * (self.value - self.low)
        high = self.value + wider * (self.high - self.value)
        return low <= self.truth[1] and self.truth[0] <= high

    @property
    def inside_goal(self) -> bool:
        """Whether the value is as near as asked."""
        return self.allowed is not None and self.error <= self.allowed

    @property
    def missed(self) -> bool:
        """Outside the interval widened by half, or outside the interval by more than the goal."""
        if self.kind != "number" or self.covered:
            return False
        return not self._within(WIDER) or (self.allowed is not None and self.error > self.allowed)

    @property
    def grave(self) -> bool:
        """Missed, and off by more than the goal (where there is one)."""
        return self.missed and (self.allowed is None or self.error > self.allowed)

    @property
    def silent(self) -> bool:
        """Missed without a warning."""
        return self.missed and not self.warned

    @property
    def wrong_bound(self) -> bool:
        """A bound that the truth does not keep, without a warning."""
        if self.kind != "bound" or self.warned:
            return False
        spare = self.allowed or 0.0
        return (self.low is not None and self.truth[1] < self.low - spare) or (
            self.high is not None and self.truth[0] > self.high + spare
        )


def judged(profile: dict[str, Any], truth: Truth, *, noise_dbfs: float) -> list[Judged]:
    """Hold every number of a profile against the truth."""
    judge = Judge(profile, truth)
    return [
        *judge.quantities(noise_dbfs=noise_dbfs),
        *judge.static_points(),
        *judge.timing_rows(),
        *judge.harmonic_rows(),
        *judge.response_points(),
    ]


class Judge:
    """A profile and its truth."""

    def __init__(self, profile: dict[str, Any], truth: Truth) -> None:
        self.profile, self.truth = profile, truth
        self.levels = np.array(truth.curve_dbfs)
        self.warnings = [item for item in profile["health"] if item["severity"] in ("warn", "stop")]

    def warned(self, group: str) -> bool:
        """Whether a warning speaks of a group of quantities, or of the rows that belong to it."""
        plain = OF_ROWS.get(group, group)
        return any(
            plain in OF_STAGE.get(item["code"], (plain,))
            or (
                plain == "colour"
                and item["code"] == "unsettled"
                and re.search(r"\btones?\b|harmonic", item["message"])
            )
            for item in self.warnings
        )

    def rows(self, curve: str) -> list[dict[str, Any]]:
        """Rows of a curve."""
        columns = self.profile["curves"].get(curve, {}).get("columns", {})
        return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]

    def _judged(
        self,
        group: str,
        name: str,
        value: float,
        truth: Range,
        allowed: float | None,
        span: Range | None,
        row: dict[str, Any],
    ) -> Judged:
        low, high = span if span else (None, None)
        warned = self.warned(group) or row.get("settled") is False
        return Judged(self.truth.name, group, name, "number", value, low, high, truth, allowed, warned)

    def quantities(self, *, noise_dbfs: float) -> Iterator[Judged]:
        """Quantities whose truth is known."""
        known = dict(self._static()) | dict(self._timing()) | dict(self._colour())
        if self.truth.trace_is_gain and self.truth.unsteady_db == 0:
            known["path.latency"] = (self.truth.late_s, self.truth.late_s)
        flat = noise_dbfs + 10 * np.log10((20_000 - 20) / (self.truth.rate_hz / 2))
        known["noise.unweighted"] = (flat, flat)
        for name, true in known.items():
            entry = self.profile["quantities"].get(name)
            if entry is None:
                continue
            goal, group = glossary.term(name).goal, glossary.group(name)
            middle = (true[0] + true[1]) / 2
            allowed = (
                goal.allowed(middle, rate_hz=self.truth.rate_hz) if goal else _usual(name, middle, self.truth)
            )
            warned = self.warned(group) or any(
                name in item["withholds"] or group in item["withholds"] for item in self.profile["health"]
            )
            if entry["value"] is not None:
                yield Judged(
                    self.truth.name,
                    group,
                    name,
                    "number",
                    entry["value"],
                    entry["low"],
                    entry["high"],
                    true,
                    allowed,
                    warned,
                )
                continue
            bound = entry.get("bound")
            yield Judged(
                self.truth.name,
                group,
                name,
                "bound" if bound else "withheld",
                np.nan,
                bound.get("at_least") if bound else None,
                bound.get("at_most") if bound else None,
                true,
                allowed,
                warned,
                entry["reason"],
            )

    def _static(self) -> Iterator[tuple[str, Range]]:
        gain, spare = self.truth.gain_db, self.truth.unsteady_db
        flat = None if self._flat_on_top() else self.truth.plateau
        if flat is not None:
            low = (flat[0] - spare, flat[1] + spare)
            yield "static.low_level_gain", low
            yield "static.makeup_gain", low
        bursts = self.truth.bursts.get(self.truth.reference) if self.truth.reference else None
        if bursts is not None and _at_once(bursts, self.truth.rate_hz) and not self.truth.trace_is_gain:
            return  # what a shaper loses at high levels is no reduction
        if flat is not None:
            if self.truth.one_db_dbfs is not None:
                reach = 4 * spare
                yield "static.threshold_1db", (self.truth.one_db_dbfs - reach, self.truth.one_db_dbfs + reach)
            deep = flat[0] - float(gain[self._played()].min())
            if deep > 0.05:
                yield "static.max_reduction", (deep - 2 * spare, deep + 2 * spare)
        tangents = list(self._tangents())
        if tangents and spare == 0:
            slopes = [1 + slope for _, _, slope in tangents]
            yield "static.slope", (min(slopes), max(slopes))
            if min(slopes) > 0.01:
                yield "static.ratio", (1 / max(slopes), 1 / min(slopes))
            if flat is not None and max(slopes) < 0.95:
                middle = (flat[0] + flat[1]) / 2
                met = [(middle - g + slope * level) / slope for level, g, slope in tangents]
                yield "static.threshold", (min(met), max(met))

    def _flat_on_top(self) -> bool:
        """Whether the gain rests at the highest levels only: that is no low-level gain."""
        gain, flat = self.truth.gain_db, self.truth.plateau
        return flat is not None and abs(gain[-1] - flat[0]) < 0.02 and abs(gain[0] - flat[0]) > 0.02

    def _played(self) -> np.ndarray:
        steps = [row["input_dbfs"] for row in self.rows("static")]
        return self.levels >= min(steps, default=-100) - 0.5

    def _tangents(self) -> Iterator[tuple[float, float, float]]:
        """Level, gain and slope of the gain over the part that the profile calls straight."""
        said = self.profile["quantities"].get("static.slope", {}).get("conditions", "").replace("−", "-")
        part = re.search(STRAIGHT, said)
        if part is None:
            return
        gain, levels = self.truth.gain_db, self.levels
        for i in range(1, levels.size - 1):
            if float(part[1]) - 0.3 <= levels[i - 1] and levels[i + 1] <= float(part[2]) + 0.3:
                slope = (gain[i + 1] - gain[i - 1]) / (levels[i + 1] - levels[i - 1])
                if abs(slope) > 1e-4:
                    yield float(levels[i]), float(gain[i]), float(slope)

    def _timing(self) -> Iterator[tuple[str, Range]]:
        bursts = self.truth.bursts.get(self.truth.reference) if self.truth.reference else None
        if bursts is None or _at_once(bursts, self.truth.rate_hz):
            return
        for edge, name, true in self._edges(bursts, self._as_played("attack.t63")):
            yield f"{edge}.{name}", true
        if abs(bursts.settled.change_db) > 0.3:
            yield "attack.overshoot", (bursts.settled.overshoot_db, bursts.settled.overshoot_db)
        memory = self.profile["quantities"].get("release.memory", {}).get("conditions", "").replace("−", "-")
        found = re.search(
            rf"bursts of {NUMBER} s and {NUMBER} s, {NUMBER} to {NUMBER} dBFS, carrier {NUMBER} Hz", memory
        )
        if found:
            long, short, low, high, carrier = (float(part) for part in found.groups())
            ends = [self.truth.bursts.get((low, high, carrier, hold)) for hold in (long, short)]
            times = [end.release.times.get("t63") for end in ends if end is not None]
            if len(times) == 2 and times[0] and times[1] and self.truth.unsteady_db == 0:
                yield "release.memory", (times[0] / times[1], times[0] / times[1])

    def _as_played(self, name: str) -> bool:
        return "as played" in self.profile["quantities"].get(name, {}).get("conditions", "")

    def _edges(self, bursts: BurstTruth, played: bool) -> Iterator[tuple[str, str, Range]]:
        spare = self.truth.unsteady_db
        chosen: tuple[tuple[str, Edge], ...] = (
            ("attack", bursts.played if played else bursts.settled),
            ("release", bursts.release),
        )
        for edge, times in chosen:
            for name, time in times.times.items():
                part = spare / max(abs(times.change_db), 0.1)
                reach = abs(time) * part * {"t50": 3.0, "t63": 2.8, "t90": 4.4, "delay": 30.0}.get(name, 6.0)
                yield edge, name, (time - reach, time + reach)

    def timing_rows(self) -> Iterator[Judged]:
        """Rows of the timing table."""
        for row in self.rows("timing"):
            key = min(
                self.truth.bursts,
                key=lambda k, row=row: (
                    abs(k[0] - row["from_dbfs"])
                    + abs(k[1] - row["to_dbfs"])
                    + abs(k[3] - row["hold_s"])
                    + abs(k[2] - row["carrier_hz"]) / 100
                ),
            )
            times = (
                ()
                if _at_once(self.truth.bursts[key], self.truth.rate_hz)
                else self._edges(self.truth.bursts[key], False)
            )
            for edge, name, true in times:
                value = row.get(f"{edge}_{name}_s")
                if value is None:
                    continue
                goal = glossary.term(f"{edge}.t63").goal
                assert goal is not None
                allowed = goal.allowed(true[0], rate_hz=self.truth.rate_hz)
                label = f"{name}, {row['from_dbfs']:.1f} to {row['to_dbfs']:.1f} dBFS, {row['carrier_hz']:g} Hz, {row['hold_s']:g} s"
                yield self._judged(
                    f"{edge} rows", label, value, true, allowed, _span(row, f"{edge}_{name}", "_s"), row
                )

    def _colour(self) -> Iterator[tuple[str, Range]]:
        said = self.profile["quantities"].get("colour.h3_at_reference", {}).get(
            "conditions", ""
        ) or self.profile["quantities"].get("colour.thd_at_reference", {}).get("conditions", "")
        found = re.search(rf"{NUMBER} Hz at {NUMBER} dBFS", said.replace("−", "-"))
        if found:
            point = self.truth.tones.get((float(found[1]), float(found[2])))
            if point is not None:
                yield "colour.thd_at_reference", (point.thd_dbc, point.thd_dbc)
                for order, level in enumerate(point.harmonics_dbc, start=2):
                    if level > -200:
                        yield f"colour.h{order}_at_reference", (level, level)
        thd = np.array([point.thd_dbc for point in self.truth.curve])
        loud = [level for (_, level) in self.truth.tones]
        if not loud:
            return
        played = (self.levels >= min(loud) - 0.1) & (self.levels <= max(loud) + 0.1)
        for name, limit in (("minus60db", -60.0), ("minus40db", -40.0)):
            over = np.flatnonzero(played & (thd >= limit))
            if over.size and over[0] > 0 and played[over[0] - 1]:
                i = int(over[0])
                at = float(np.interp(limit, thd[i - 1 : i + 1], self.levels[i - 1 : i + 1]))
                yield f"colour.input_at_thd_{name}", (at, at)

    def static_points(self) -> Iterator[Judged]:
        """Settled points of the static curve."""
        spare = self.truth.unsteady_db
        for row in self.rows("static"):
            if (
                not row["settled"]
                or row["gain_db"] is None
                or abs(row["frequency_hz"] - self.truth.steps_hz) > 0.5
            ):
                continue
            true = self._gain_at(row["input_dbfs"])
            span = (row["gain_db"] - 1.96 * row["std_db"], row["gain_db"] + 1.96 * row["std_db"])
            label = f"gain at {row['input_dbfs']:.1f} dBFS, {row['direction']}"
            yield self._judged(
                "static points", label, row["gain_db"], (true - spare, true + spare), 0.01, span, row
            )

    def _gain_at(self, level: float) -> float:
        near = int(np.argmin(np.abs(self.levels - level)))
        if abs(self.levels[near] - level) < 0.02:
            return float(self.truth.curve[near].gain_db)
        return float(np.interp(level, self.levels, self.truth.gain_db))

    def harmonic_rows(self) -> Iterator[Judged]:
        """Rows of the harmonics table, from `CLEAR_DB` over the limit."""
        for row in self.rows("harmonics"):
            key = min(
                self.truth.tones,
                key=lambda k, row=row: abs(k[0] - row["frequency_hz"]) + abs(k[1] - row["input_dbfs"]),
                default=None,
            )
            if key is None or row["limit_dbc"] is None:
                continue
            point = self.truth.tones[key]
            tone = f"{key[0]:g} Hz at {key[1]:g} dBFS"
            for order in range(2, 11):
                value, true = row[f"h{order}_dbc"], point.harmonics_dbc[order - 2]
                if value is None or (
                    value < row["limit_dbc"] + CLEAR_DB and _span(row, f"h{order}", "_dbc") is None
                ):
                    continue
                span = _span(row, f"h{order}", "_dbc")
                yield self._judged("harmonic rows", f"H{order}, {tone}", value, (true, true), 0.1, span, row)
            if row["fundamental_dbfs"] is not None:
                gain, spare = row["fundamental_dbfs"] - row["input_dbfs"], self.truth.unsteady_db
                true_gain = (point.gain_db - spare, point.gain_db + spare)
                yield self._judged(
                    "tone gain rows",
                    f"gain, {tone}",
                    gain,
                    true_gain,
                    0.05,
                    _span(row, "fundamental", "_dbfs"),
                    row,
                )

    def response_points(self) -> Iterator[Judged]:
        """Points of the response at the level at which truth was taken."""
        rows = [
            r
            for r in self.rows("response")
            if r["magnitude_db"] is not None and abs(r["drive_dbfs"] + 40) < 1
        ]
        if not rows or self.truth.unsteady_db:
            return
        hz = np.array([r["frequency_hz"] for r in rows])
        value, std = (
            np.array([r[name] for r in rows], dtype=float) for name in ("magnitude_db", "magnitude_std_db")
        )
        for at, true in self.truth.response_db.items():
            if hz[0] <= at <= hz[-1]:
                found = float(np.interp(np.log(at), np.log(hz), value))
                reach = 1.96 * float(np.interp(np.log(at), np.log(hz), std))
                yield self._judged(
                    "response points",
                    f"{at:g} Hz",
                    found,
                    (true, true),
                    0.02,
                    (found - reach, found + reach),
                    {},
                )


def _at_once(bursts: BurstTruth, rate_hz: int) -> bool:
    """Whether the change takes no time: it is a shaper's, and has neither attack nor release."""
    ends = [edge.times.get("t90", 0.0) for edge in (bursts.settled, bursts.release)]
    return max(ends) < 20 / rate_hz


def _usual(name: str, truth: float, of: Truth) -> float | None:
    """What is near enough where the glossary sets no goal."""
    if name.startswith("attack.within") or name == "attack.delay":
        return max(0.02 * abs(truth), 1 / of.rate_hz)
    if name.startswith("release.within"):
        return 0.01 * abs(truth)
    return {"attack.overshoot": 0.1, "static.max_reduction": 0.02, "release.memory": 0.02 * abs(truth)}.get(
        name
    )


def _span(row: dict[str, Any], name: str, unit: str) -> Range | None:
    """Interval of a cell, where the table has columns for it."""
    low, high = row.get(f"{name}_low{unit}"), row.get(f"{name}_high{unit}")
    if low is not None and high is not None:
        return low, high
    value, std = row.get(f"{name}{unit}"), row.get(f"{name}_std{unit}", row.get(f"{name}_std_db"))
    return None if std is None or value is None else (value - 1.96 * std, value + 1.96 * std)
