"""Measured numbers: a value with its 95 % interval, or a plain reason why there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

DB_PER_NEPER = 20 / math.log(10)  # dB of a ratio whose logarithm is 1
Z95 = 1.959963984540054  # two-sided 95 % quantile of the normal distribution
DETECTED = 4.0  # standard uncertainties; noise alone passes with probability exp(-8), 3 in 10 000 per order
ORDER_SEEN = 5.0  # the same for one of the hundreds of harmonics that a take is asked for: 4 in a million


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

    def over(self, other: Quantity) -> Quantity:
        """The value, with an interval that reaches over another's too."""
        return Quantity(self.value, min(self.low, other.low), max(self.high, other.high), self.unit)

    @property
    def least(self) -> float:
        """Lower end of the interval, as a bound has one."""
        return self.low

    @property
    def most(self) -> float:
        """Upper end of the interval, as a bound has one."""
        return self.high

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
    def least(self) -> float | None:
        """Lower bound, if there is one."""
        return self.at_least

    @property
    def most(self) -> float | None:
        """Upper bound, if there is one."""
        return self.at_most

    @property
    def bounded(self) -> bool:
        """Whether at least a bound is known."""
        return self.at_most is not None or self.at_least is not None


Reading = Quantity | Unmeasured


def is_told(reading: Reading) -> bool:
    """Whether there is a number, or a bound at least."""
    return isinstance(reading, Quantity) or reading.bounded


def value_or_most(reading: Reading | None) -> float | None:
    """The number, or its upper bound; None where neither is known."""
    return reading.value if isinstance(reading, Quantity) else reading.at_most if reading else None


def value_or_least(reading: Reading | None) -> float | None:
    """The number, or its lower bound; None where neither is known."""
    return reading.value if isinstance(reading, Quantity) else reading.at_least if reading else None


@lru_cache(maxsize=256)
def student_factor(dof: int) -> float:
    """Student's over the normal 97.5 % quantile: by how much few degrees of freedom widen an interval.

    Notes
    -----
    Newton's steps on the closed form of the distribution, which for whole degrees of freedom is a finite sum
    (Abramowitz and Stegun 26.7.3 and 26.7.4). SciPy has it too, but loading it takes as long as a check.

    Examples
    --------
    >>> round(student_factor(32), 3)  # tables: 2.037 / 1.960
    1.039
    >>> round(student_factor(2), 2)  # 4.303 / 1.960
    2.2
    """
    n = max(1, dof)
    quantile = math.tan(math.pi / 2 * 0.95) if n == 1 else Z95 * (1 + (Z95**2 + 1) / (4 * n))
    peak = math.exp(math.lgamma((n + 1) / 2) - math.lgamma(n / 2)) / math.sqrt(math.pi * n)
    for _ in range(20):
        density = 2 * peak * (1 + quantile**2 / n) ** (-(n + 1) / 2)
        step = (_student_share(quantile, n) - 0.95) / density
        quantile -= step
        if abs(step) < 1e-13 * quantile:
            break
    return quantile / Z95


def _student_share(quantile: float, dof: int) -> float:
    """Share of Student's distribution between minus and plus a quantile."""
    angle = math.atan(quantile / math.sqrt(dof))
    odd, cosine = dof % 2, math.cos(angle)
    term = cosine if odd else 1.0
    total = term if dof > 1 else 0.0
    for k in range(2 + odd, dof, 2):
        term *= cosine**2 * (k - 1) / k
        total += term
    inside = math.sin(angle) * total
    return (angle + inside) / (math.pi / 2) if odd else inside


def difference_db(one: Quantity, other: Quantity) -> Quantity:
    """One level less another, in dB; their errors are taken as independent."""
    value = one.value - other.value
    down = math.hypot(one.value - one.low, other.high - other.value)
    up = math.hypot(one.high - one.value, other.value - other.low)
    return Quantity(value, value - down, value + up, "dB")
