"""A profile against the truth of the stage it was taken of: number by number."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import numpy as np

from charprobe.profile import glossary
from tests.benchmarks.zoo.judged import Judged, Range
from tests.benchmarks.zoo.true_quantities import NUMBER, TrueQuantities, at_once
from tests.benchmarks.zoo.truth import Truth

ROUNDED_DB = 1e-4  # two cells of six digits
CLEAR_DB = 20.0  # harmonics are judged from here over the limit of detection, as the goal says
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
    "contradiction": (),
    "below-resolution": ("attack",),
    "stepped-gain": ("static", "attack", "release", "colour"),
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
        self.true = TrueQuantities(profile, truth)
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
            or (plain == "response" and "the response" in item["message"])
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
        known = self.true.ranges(noise_dbfs=noise_dbfs)
        for name, true in known.items():
            entry = self.profile["quantities"].get(name)
            if entry is None:
                continue
            goal, group = glossary.term(name).goal, glossary.group(name)
            middle = (true[0] + true[1]) / 2
            allowed = (
                goal.allowed(middle, rate_hz=self.truth.rate_hz) if goal else _usual(name, middle, self.truth)
            )
            if name.endswith("_at_reference") and entry["value"] is not None and not self._clear(entry):
                allowed = None
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

    def _clear(self, entry: dict[str, Any]) -> bool:
        """Whether a harmonic stands as far over the limit of its tone as the goal asks."""
        found = re.search(rf"{NUMBER} Hz at {NUMBER} dBFS", entry["conditions"].replace("−", "-"))
        return found is None or any(
            row["limit_dbc"] is None or entry["value"] >= row["limit_dbc"] + CLEAR_DB
            for row in self.rows("harmonics")
            if row["frequency_hz"] == float(found[1]) and abs(row["input_dbfs"] - float(found[2])) < 0.1
        )

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
            times = () if at_once(self.truth.bursts[key][0], self.truth.rate_hz) else self.true.edges(key)
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

    def static_points(self) -> Iterator[Judged]:
        """Points of the static curve that stand for settled gain, as played or by what was left to go."""
        spare = self.truth.unsteady_db
        for row in self.rows("static"):
            if (
                not (row["settled"] or row["used"])
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
                allowed = 0.1 if value >= row["limit_dbc"] + CLEAR_DB else None
                yield self._judged(
                    "harmonic rows", f"H{order}, {tone}", value, (true, true), allowed, span, row
                )
            if row["fundamental_dbfs"] is not None:
                gain, spare = row["fundamental_dbfs"] - row["input_dbfs"], self.truth.unsteady_db
                level = _span(row, "fundamental", "_dbfs")
                span = level and (
                    level[0] - row["input_dbfs"] - ROUNDED_DB,
                    level[1] - row["input_dbfs"] + ROUNDED_DB,
                )
                true_gain = (point.gain_db - spare, point.gain_db + spare)
                yield self._judged("tone gain rows", f"gain, {tone}", gain, true_gain, 0.05, span, row)

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
                away = np.log(hz / at)
                straight, own = (float(np.interp(0.0, away, each)) for each in (value, std))
                near = np.sort(np.argsort(np.abs(away))[:4])
                found = float(np.polyval(np.polyfit(away[near], value[near], near.size - 1), 0.0))
                reach = 1.96 * own
                bow = max(0.0, abs(found - straight) - 3 * own) / 2  # between the points of a comb
                yield self._judged(
                    "response points",
                    f"{at:g} Hz",
                    found,
                    (true - bow, true + bow),
                    0.02,
                    (found - reach, found + reach),
                    {},
                )


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
