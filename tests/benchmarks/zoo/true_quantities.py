"""What is true of the quantities of a profile, under the conditions that the profile itself states."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import numpy as np
from scipy.interpolate import CubicSpline

from tests.benchmarks.zoo.bursts import BurstTruth, Edge
from tests.benchmarks.zoo.judged import Range
from tests.benchmarks.zoo.stage import Array
from tests.benchmarks.zoo.truth import RESPONSE_DBFS, Truth

NUMBER = r"(-?\d+(?:\.\d+)?)"
Condition = tuple[float, float, float, float]
STRAIGHT = rf"straight part from {NUMBER} dBFS to {NUMBER} dBFS"


class TrueQuantities:
    """Truth of quantities by name, as ranges: equal ends where it is one number."""

    def __init__(self, profile: dict[str, Any], truth: Truth) -> None:
        self.profile, self.truth = profile, truth
        self.levels = np.array(truth.curve_dbfs)

    def ranges(self, *, noise_dbfs: float) -> dict[str, Range]:
        """Every quantity whose truth is known."""
        known = dict(self._static()) | dict(self._timing()) | dict(self._colour())
        plainly_late = self.truth.kind == "plain" and self.truth.late_s > 0
        if (self.truth.trace_is_gain or plainly_late) and self.truth.unsteady_db == 0:
            known["path.latency"] = (self.truth.late_s, self.truth.late_s)
        known |= dict(self._response()) | {
            name: (value, value) for name, value in self.truth.declared.items()
        }
        recorded = noise_dbfs + 10 * np.log10((20_000 - 20) / (self.truth.rate_hz / 2))
        both = 10 * np.log10(10 ** (recorded / 10) + 10 ** (self.truth.hiss_dbfs / 10))
        known["noise.unweighted"] = (both, both)
        return known

    def _response(self) -> Iterator[tuple[str, Range]]:
        """Tilt of settled tones at the level of the sweep, where they move neither by themselves nor with level."""
        drive = self.profile["curves"].get("response", {}).get("columns", {}).get("drive_dbfs", [])
        if self.truth.unsteady_db == 0 and drive and abs(min(drive) - RESPONSE_DBFS) < 1:
            between = CubicSpline(np.log10(list(self.truth.wide_db)), list(self.truth.wide_db.values()))
            x = 2 + (np.arange(1000) + 0.5) / 500
            slope = float(np.polyfit(x, between(x), 1)[0])
            yield "response.tilt", (slope, slope)

    def _static(self) -> Iterator[tuple[str, Range]]:
        gain, spare = self.truth.gain_db, self.truth.unsteady_db
        flat = None if self._flat_on_top() else self.truth.plateau
        if flat is not None:
            low = (flat[0] - spare, flat[1] + spare)
            yield "static.low_level_gain", low
            yield "static.makeup_gain", low
        bursts = self.truth.bursts[self.truth.reference][0] if self.truth.reference else None
        if bursts is not None and at_once(bursts, self.truth.rate_hz) and not self.truth.trace_is_gain:
            return  # what a shaper loses at high levels is no reduction
        if flat is not None:
            if self.truth.one_db_dbfs is not None:
                reach = 4 * spare
                yield "static.threshold_1db", (self.truth.one_db_dbfs - reach, self.truth.one_db_dbfs + reach)
            played = gain[self._played()]
            least = float(
                played[int(np.argmax(played)) :].min()
            )  # what an expander takes below is no reduction
            if flat[0] - least > 0.05:
                yield "static.max_reduction", (flat[0] - least - 2 * spare, flat[1] - least + 2 * spare)
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

    def _played(self) -> Array:
        steps = list(self.profile["curves"].get("static", {}).get("columns", {}).get("input_dbfs", []))
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
        key = self.truth.reference
        if key is None or at_once(self.truth.bursts[key][0], self.truth.rate_hz):
            return
        for edge, name, true in self.edges(key):
            yield f"{edge}.{name}", true
        yield from self.truth.constants.items()
        ends = [one.settled for one in self.truth.bursts[key]]
        if self.truth.trace_is_gain and abs(ends[0].change_db) > 0.3:  # filters ring over
            past = [end.overshoot_db for end in ends]
            yield "attack.overshoot", (min(past), max(past))
        memory = self.profile["quantities"].get("release.memory", {}).get("conditions", "").replace("−", "-")
        found = re.search(
            rf"bursts of {NUMBER} s and {NUMBER} s, {NUMBER} to {NUMBER} dBFS, carrier {NUMBER} Hz", memory
        )
        if found:
            long, short, low, high, carrier = (float(part) for part in found.groups())
            keys = [(low, high, carrier, hold) for hold in (long, short)]
            times = [
                {(e, n): t for e, n, t in self.edges(one)}.get(("release", "t63"))
                for one in keys
                if one in self.truth.bursts
            ]
            if len(times) == 2 and times[0] and times[1] and self.truth.unsteady_db == 0:
                yield "release.memory", (times[0][0] / times[1][1], times[0][1] / times[1][0])

    def edges(self, key: Condition) -> Iterator[tuple[str, str, Range]]:
        """Edge, name and range of every time of the bursts of a condition, whichever stand for them."""
        found = [
            {(e, n): t for e, n, t in self._edges(one)}
            for bursts in self.truth.bursts[key]
            for one in (bursts, bursts.turned)
            if one is not None
        ]
        for edge, name in found[0]:
            times = [one[edge, name] for one in found if (edge, name) in one]
            yield edge, name, (min(low for low, _ in times), max(high for _, high in times))

    def _edges(self, bursts: BurstTruth) -> Iterator[tuple[str, str, Range]]:
        spare = self.truth.unsteady_db
        chosen: tuple[tuple[str, Edge], ...] = (
            ("attack", bursts.settled),
            ("release", bursts.release),
        )
        for edge, times in chosen:
            for name, time in times.times.items():
                part = spare / max(abs(times.change_db), 0.1)
                reach = abs(time) * part * {"t50": 3.0, "t63": 2.8, "t90": 4.4, "delay": 30.0}.get(name, 6.0)
                yield edge, name, (time - reach, time + reach)

    def _colour(self) -> Iterator[tuple[str, Range]]:
        share = self.profile["quantities"].get("colour.ripple_share", {}).get("conditions", "")
        if self.truth.trace_is_gain and share.startswith("third harmonic"):
            yield "colour.ripple_share", (100.0, 100.0)  # nothing but the gain makes any
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


def at_once(bursts: BurstTruth, rate_hz: int) -> bool:
    """Whether the change takes no time: it is a shaper's, and has neither attack nor release."""
    ends = [edge.times.get("t90", 0.0) for edge in (bursts.settled, bursts.release)]
    return max(ends) < 20 / rate_hz
