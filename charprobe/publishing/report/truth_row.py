"""A true value of a simulated device beside what was measured of it."""

from __future__ import annotations

from dataclasses import dataclass

from charprobe.values.quantity import Quantity, Reading, Unmeasured

WORST_POINT = "static.points"  # the settled point of a static curve farthest from its truth: no quantity


@dataclass(frozen=True)
class TruthRow:
    """One quantity of one stage: truth, known to `within`; what was measured; and whether it will do."""

    stage: str
    quantity: str
    truth: float
    unit: str
    reading: Reading
    allowed: float
    within: float = 0.0

    @property
    def error(self) -> float | None:
        """Estimate minus truth; None where there is no estimate."""
        return self.reading.value - self.truth if isinstance(self.reading, Quantity) else None

    @property
    def verdict(self) -> str:
        """``good``, ``off``, ``bound holds``, ``bound wrong`` or ``no number``."""
        if self.error is not None:
            return "good" if abs(self.error) <= self.allowed * (1 + 1e-9) else "off"
        assert isinstance(self.reading, Unmeasured)
        low, high = self.reading.at_least, self.reading.at_most
        if low is None and high is None:
            return "no number"
        holds = (low is None or self.truth >= low - self.allowed) and (
            high is None or self.truth <= high + self.allowed
        )
        return "bound holds" if holds else "bound wrong"

    @property
    def covered(self) -> bool | None:
        """Whether the 95 % interval holds the truth; None without an estimate, or for the worst of many."""
        reading = self.reading
        if not isinstance(reading, Quantity) or self.quantity == WORST_POINT:
            return None
        return reading.low - self.within <= self.truth <= reading.high + self.within

    def to_dict(self) -> dict[str, str | float | None]:
        """The row for machines."""
        found = self.reading if isinstance(self.reading, Quantity) else None
        return {
            "stage": self.stage,
            "quantity": self.quantity,
            "unit": self.unit,
            "truth": self.truth,
            "estimate": found.value if found else None,
            "low": found.low if found else None,
            "high": found.high if found else None,
            "allowed": self.allowed,
            "verdict": self.verdict,
        }
