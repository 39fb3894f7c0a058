"""What a profile says, read as a stranger would: from its JSON alone."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import Any

Profile = dict[str, Any]
NUMBER = r"(-?\d+(?:\.\d+)?)"


class Told:
    """A profile with short ways to what it says."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self.findings = [text.replace("−", "-") for text in profile["findings"]]
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


def known(row: dict[str, Any], *names: str) -> bool:
    return all(row.get(name) is not None for name in names)


def speaks_of(frequency_hz: float, sentence: str) -> bool:
    """Whether a sentence speaks of this frequency: of all, unless it names some."""
    named = [float(f[1]) * (1000 if f[2] else 1) for f in re.finditer(rf"{NUMBER} (k?)Hz", sentence)]
    return not named or any(math.isclose(hz, frequency_hz, rel_tol=0.02) for hz in named)


def tone_words(row: dict[str, Any]) -> str:
    return f"{row['frequency_hz']:g} Hz at {row['input_dbfs']:.1f} dBFS"


def same_tone(one: str, other: str) -> bool:
    """Whether two sentences may speak of one frequency."""
    named = [float(f[1]) * (1000 if f[2] else 1) for f in re.finditer(rf"{NUMBER} (k?)Hz", other)]
    return not named or any(speaks_of(hz, one) for hz in named)
