"""One published number, bound or refusal beside the truth, and what counts as wrong."""

from __future__ import annotations

from dataclasses import dataclass

WIDER = 1.5

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
    def beyond(self) -> float:
        """Distance of the truth from the nearer end of the interval; from the value where there is none."""
        if self.low is None or self.high is None:
            return self.error
        return max(self.truth[0] - self.high, self.low - self.truth[1], 0.0)

    @property
    def missed(self) -> bool:
        """Outside the interval widened by half, or outside the interval by more than the goal."""
        if self.kind != "number" or self.covered:
            return False
        return not self._within(WIDER) or (self.allowed is not None and self.beyond > self.allowed)

    @property
    def grave(self) -> bool:
        """Missed, and off by more than the goal (where there is one)."""
        return self.missed and (self.allowed is None or self.error > self.allowed)

    @property
    def off(self) -> bool:
        """Not covered, and the value itself off by more than the goal, however wide its interval; unwarned."""
        uncovered = self.kind == "number" and not self.covered and not self.warned
        return uncovered and self.allowed is not None and self.error > self.allowed

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


@dataclass(frozen=True)
class Outcome:
    """What became of one stage: numbers judged, contradictions, warnings, or why it failed."""

    stage: str
    judged: tuple[Judged, ...]
    contradictions: tuple[str, ...]
    warnings: tuple[str, ...]
    failed: str = ""
