"""Measured numbers: a value with its 95 % interval, or a plain reason why there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import scipy

DB_PER_NEPER = 20 / math.log(10)  # dB of a ratio whose logarithm is 1
Z95 = 1.959963984540054  # two-sided 95 % quantile of the normal distribution
DETECTED = 4.0  # standard uncertainties; noise alone passes with probability exp(-8), 3 in 10 000 per order


@dataclass(frozen=True)
class Quantity:
    """A measured value and its 95 % interval, all in `unit`.

    Examples
    --------
    >>> round(Quantity.from_std(-20.0, 0.01, "dBFS").high, 4)
    -19.9804
    """

    value: float
    low: float
    high: float
    unit: str

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and self.low <= self.value <= self.high):
            raise ValueError(f"not a value inside its interval: {self.low} <= {self.value} <= {self.high}")

    @classmethod
    def from_std(cls, value: float, std: float, unit: str) -> Quantity:
        """Build from a standard uncertainty (one sigma, in `unit`)."""
        value, reach = float(value), Z95 * float(std)
        return cls(value, value - reach, value + reach, unit)

    @property
    def std(self) -> float:
        """Standard uncertainty that the interval stands for."""
        return (self.high - self.low) / (2 * Z95)


# what in a stimulus kept a number from being had, and another stimulus would cure
Cause = Literal["short-steps", "short-gaps", "coarse-carrier", "low-levels", "high-levels"]


@dataclass(frozen=True)
class Unmeasured:
    """A quantity that this capture cannot settle: why, and which test would settle it.

    `at_most` or `at_least` carries a bound where one is known, `cause` what the stimulus lacked: steps or
    tones too short for the gain to settle, gaps too short for it to come to rest, a carrier too low to time
    it, levels that end too low, levels that begin too high; None where no other stimulus would help.
    """

    unit: str
    reason: str
    next: str
    at_most: float | None = None
    at_least: float | None = None
    cause: Cause | None = None

    def as_of(self, unit: str, *, at_most: float | None = None, at_least: float | None = None) -> Unmeasured:
        """Return the same for another quantity, with the bounds of that one."""
        return replace(self, unit=unit, at_most=at_most, at_least=at_least)

    @property
    def bounded(self) -> bool:
        """Whether at least a bound is known."""
        return self.at_most is not None or self.at_least is not None


Reading = Quantity | Unmeasured


def student_factor(dof: float) -> float:
    """Student's over the normal 97.5 % quantile: by how much few degrees of freedom widen an interval.

    Examples
    --------
    >>> round(student_factor(32), 3)  # tables: 2.037 / 1.960
    1.039
    >>> round(student_factor(2), 2)  # 4.303 / 1.960
    2.2
    """
    return float(scipy.special.stdtrit(max(1, dof), 0.975)) / Z95


def difference_db(one: Quantity, other: Quantity) -> Quantity:
    """One level less another, in dB; their errors are taken as independent."""
    value = one.value - other.value
    down = math.hypot(one.value - one.low, other.high - other.value)
    up = math.hypot(one.high - one.value, other.value - other.low)
    return Quantity(value, value - down, value + up, "dB")
