"""Same, different or cannot tell: two one-sided tests against a margin, corrected for how many are made."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import scipy

RISK = 0.05  # of one wrong "same", and of one wrong "different", in the whole comparison
LEAST_STD = 1e-9  # of a number's size: one that states no uncertainty at all does not outweigh all others
Likeness = Literal["same", "different", "cannot tell"]


@dataclass(frozen=True)
class Estimate:
    """A value, its standard uncertainty, and the degrees of freedom behind that uncertainty (may be inf)."""

    value: float
    std: float
    freedom: float = math.inf


@dataclass(frozen=True)
class Gap:
    """The second value less the first: difference, 95 % interval, and the verdict against a margin."""

    value: float
    low: float
    high: float
    verdict: Likeness


def repeat_variance(sets: Sequence[Sequence[float]]) -> tuple[float, int]:
    """Pool the variance among repeats, set by set; also return its degrees of freedom (0: no repeats)."""
    squares, freedom = 0.0, 0
    for values in sets:
        mean = sum(values) / len(values) if values else 0.0
        squares += sum((value - mean) ** 2 for value in values)
        freedom += max(0, len(values) - 1)
    return (squares / freedom if freedom else 0.0), freedom


def combined(repeats: Sequence[Estimate], *, variance: float, freedom: int) -> Estimate:
    """Average the repeats of one setting, at least one.

    `variance` is that of a single repeat as the repeats of all settings show it, with so many degrees of
    `freedom`; the larger of it and of what a repeat's own interval states is taken.
    """
    count = len(repeats)
    stated = sum(item.std**2 for item in repeats) / count
    value = sum(item.value for item in repeats) / count
    if freedom and variance > stated:
        return Estimate(value, math.sqrt(variance / count), float(freedom))
    return Estimate(value, math.sqrt(stated / count))


def weighted(repeats: Sequence[Estimate]) -> Estimate:
    """Average repeats whose own uncertainties may be unlike, each by its own.

    Parameters
    ----------
    repeats : sequence of Estimate
        One per repeat, at least one.

    Notes
    -----
    Repeats that agree are never told worse than the best of them; where they differ by more than their own
    uncertainties allow (chi squared, 95 %), these are scaled up until they do.

    Examples
    --------
    >>> weighted([Estimate(1.0, 0.1), Estimate(1.05, 0.001)]).std < 0.001
    True
    >>> round(weighted([Estimate(1.0, 0.001), Estimate(1.2, 0.001)]).std, 3)
    0.1
    """
    weights = [1 / max(item.std, LEAST_STD * max(1.0, abs(item.value))) ** 2 for item in repeats]
    total, freedom = sum(weights), len(repeats) - 1
    value = sum(w * item.value for w, item in zip(weights, repeats, strict=True)) / total
    misfit = sum(w * (item.value - value) ** 2 for w, item in zip(weights, repeats, strict=True))
    unlike = freedom > 0 and misfit > float(scipy.special.chdtri(freedom, RISK))
    return Estimate(value, math.sqrt(max(1.0, misfit / freedom if unlike else 1.0) / total))


def gap(first: Estimate, second: Estimate, *, margin: float, tests: int) -> Gap:
    """Compare two estimates.

    Parameters
    ----------
    first, second : Estimate
        Independent of each other.
    margin : float > 0
        Differences up to this size do not matter.
    tests : int >= 1
        How many such tests the whole comparison makes; the risk of each is `RISK` over it (Bonferroni).

    Notes
    -----
    "same" if both one-sided tests show the difference inside ±margin, "different" if one shows it outside,
    "cannot tell" otherwise. The printed interval is the plain 95 % one.

    Examples
    --------
    >>> gap(Estimate(0.0, 0.01), Estimate(0.05, 0.01), margin=0.1, tests=1).verdict
    'same'
    >>> gap(Estimate(0.0, 0.01), Estimate(0.2, 0.01), margin=0.1, tests=1).verdict
    'different'
    >>> gap(Estimate(0.0, 0.05), Estimate(0.2, 0.05), margin=0.1, tests=1).verdict
    'cannot tell'
    """
    value, std = second.value - first.value, math.hypot(first.std, second.std)
    freedom = _freedom(first, second)
    plain = quantile(1 - RISK / 2, freedom) * std
    strict = quantile(1 - RISK / tests, freedom) * std
    verdict: Likeness = "cannot tell"
    if abs(value) + strict < margin:
        verdict = "same"
    elif abs(value) - strict > margin:
        verdict = "different"
    return Gap(value, value - plain, value + plain, verdict)


def _freedom(first: Estimate, second: Estimate) -> float:
    """Degrees of freedom of a difference, after Satterthwaite; both sides may rest on one pooled variance."""
    pooled = sum(item.std**2 for item in (first, second) if math.isfinite(item.freedom))
    if pooled == 0:
        return math.inf
    whole = first.std**2 + second.std**2
    return min(first.freedom, second.freedom) * (whole / pooled) ** 2


def quantile(probability: float, freedom: float = math.inf) -> float:
    """Quantile of Student's distribution, the normal one for infinitely many degrees of freedom."""
    return float(scipy.special.stdtrit(min(freedom, 1e12), probability))
