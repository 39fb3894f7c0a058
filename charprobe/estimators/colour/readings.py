"""What a ladder of harmonics over level amounts to: onset, levels of given distortion, balance, growth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.colour.harmonic_cell import HIGHEST, HarmonicCell
from charprobe.estimators.colour.level_rung import NEAR_RIG, ODD, LevelRung
from charprobe.values.quantity import (
    DB_PER_NEPER,
    DETECTED,
    Z95,
    Quantity,
    Reading,
    Unmeasured,
    value_or_most,
)
from charprobe.values.wording import number_text, rounded_text

EVEN = (2, 4, 6, 8, 10)
BOTH_SIDES_DB = 0.05  # interpolation error that is always allowed for, per rung
GROWTH_RUNGS = 3
CLEAR = 12.0  # standard uncertainties by which a harmonic must stand out for its growth to be fitted


def colour_onset(rungs: Sequence[LevelRung]) -> Reading:
    """First input level, in dBFS, from which harmonics that are colour exceed the bypass and stay above.

    Parameters
    ----------
    rungs : sequence of LevelRung
        One frequency, levels ascending, at least one; each with its origin.

    Notes
    -----
    The level is one of those played; the interval reaches down to the next lower one, where no excess shows.
    """
    first = len(rungs)
    while first and rungs[first - 1].origin == "colour":
        first -= 1
    tones = f"tones of {rungs[0].cell.tone.frequency_hz:g} Hz"
    unsure = next((i for i, rung in enumerate(rungs[:first]) if rung.origin == "either"), None)
    if unsure is not None:
        begin = number_text(rungs[unsure].input_dbfs, 1)
        reason = f"harmonics of {tones} from {begin} dBFS up may be ripple of the gain or colour"
        least = rungs[unsure - 1].input_dbfs if unsure else None
        most = rungs[first].input_dbfs if first < len(rungs) else None
        return Unmeasured("dBFS", reason, "a setting that reduces no gain", at_most=most, at_least=least)
    if first == len(rungs):
        top = rungs[-1].input_dbfs
        limit = float(np.max(rungs[-1].cell.limits_dbc))
        beyond = "the bypass" if all(rung.origin == "none" for rung in rungs) else "ripple of the gain"
        reason = (
            f"{tones} show no colour up to {number_text(top, 1)} dBFS: no harmonic beyond {beyond} above "
            f"{number_text(limit, 0)} dBc"
        )
        return Unmeasured("dBFS", reason, "a recipe with hotter tones", at_least=top)
    level = rungs[first].input_dbfs
    if first == 0:
        reason = f"harmonics exceed the bypass at every level read, from {number_text(level, 1)} dBFS up"
        return Unmeasured("dBFS", reason, "a recipe with quieter, longer tones", at_most=level)
    return Quantity(level, rungs[first - 1].input_dbfs, level, "dBFS")


def input_at_thd(rungs: Sequence[LevelRung], *, target_dbc: float) -> Reading:
    """Lowest input level, in dBFS, at which the distortion reaches `target_dbc`.

    Parameters
    ----------
    rungs : sequence of LevelRung
        One frequency, levels ascending, at least one.
    target_dbc : float < 0
        Distortion (root sum of squares of orders 2 to 10 over the fundamental).

    Notes
    -----
    Between the two rungs around the target, dB over dB is interpolated by the parabolas through the
    neighbours on either side; how far they differ is part of the interval, and so is how far the value lies
    from where the orders of the lower rung, each growing by its own power, would reach the target: between
    the two a threshold may bend the course.
    """
    levels = [rung.input_dbfs for rung in rungs]
    thds = [rung.cell.thd for rung in rungs]
    tones = f"{rungs[0].cell.tone.frequency_hz:g} Hz"
    reached = [i for i, thd in enumerate(thds) if isinstance(thd, Quantity) and thd.value >= target_dbc]
    named = f"{rounded_text(target_dbc)} dB at {tones}"
    if not reached:
        return _never(levels, thds, target_dbc, named)
    at = reached[0]
    if _shared_with_rig(rungs[at]):
        where = f"{number_text(levels[at], 1)} dBFS, where distortion reaches {named}"
        reason = f"near {where}, the bypass shows as much"
        return Unmeasured("dBFS", reason, "a cleaner recording path, or lower levels in it")
    if at == 0:
        lowest = f"{number_text(levels[0], 1)} dBFS"
        reason = f"distortion is above {named} at the lowest level read, {lowest}"
        if stays_above(rungs, target_dbc=target_dbc):
            reason = f"distortion is above {named} at every level read, from {lowest} up"
        return Unmeasured("dBFS", reason, "a recipe with quieter tones", at_most=levels[0])
    below = thds[at - 1]
    upper = thds[at]
    assert isinstance(upper, Quantity)
    if isinstance(below, Unmeasured):
        return _from_the_noise(levels, thds, at, target_dbc, named)
    value, model_std = _interpolated(levels, thds, at, target_dbc)
    law = levels[at - 1] + (target_dbc - below.value) / _power_slope(rungs[at - 1].cell)
    model_std = math.hypot(model_std, (value - min(law, levels[at])) / 2)
    slope = (upper.value - below.value) / (levels[at] - levels[at - 1])
    share = (value - levels[at - 1]) / (levels[at] - levels[at - 1])
    noise_db = math.hypot((1 - share) * below.std, share * upper.std)
    reach = Z95 * math.hypot(noise_db / slope, model_std)
    low, high = value - reach, value + reach  # no farther than a rung that is surely on its side
    low = max(low, levels[at - 1]) if below.high < target_dbc else low
    high = min(high, levels[at]) if upper.low >= target_dbc else high
    return Quantity(value, min(low, value), max(high, value), "dBFS")


def stays_above(rungs: Sequence[LevelRung], *, target_dbc: float) -> bool:
    """Whether the distortion of every level lies above `target_dbc`."""
    thds = [rung.cell.thd for rung in rungs]
    return all(isinstance(thd, Quantity) and thd.value >= target_dbc for thd in thds)


def _from_the_noise(
    levels: Sequence[float], thds: Sequence[Reading], at: int, target_dbc: float, named: str
) -> Reading:
    """Level between a rung that reaches the target and the next lower one that surely does not."""
    for below in reversed(range(at)):
        most = value_or_most(thds[below])
        if most is not None and most < target_dbc:
            return Quantity((levels[below] + levels[at]) / 2, levels[below], levels[at], "dBFS")
    where = number_text(levels[at], 1)
    reason = f"noise hides whether distortion reaches {named} below {where} dBFS"
    return Unmeasured("dBFS", reason, "a path of less noise, or longer tones", at_most=levels[at])


def even_odd_balance(cell: HarmonicCell) -> Reading:
    """Power of orders 2, 4, ... 10 over that of orders 3, 5, 7, 9, in dB; a bound where one is hidden."""
    if cell.orders < 3:
        return Unmeasured("dB", "the third harmonic lies above the band", "a lower tone or a higher rate")
    (even, even_std, even_hiding), (odd, odd_std, odd_hiding) = cell.power(EVEN), cell.power(ODD)
    even_seen = any(cell.detected(order) for order in EVEN) and even > Z95 * even_hiding
    odd_seen = any(cell.detected(order) for order in ODD) and odd > Z95 * odd_hiding
    following = "raise the level or record with less noise"
    if not even_seen and not odd_seen:
        return Unmeasured("dB", "neither even nor odd harmonics rise above the noise", following)
    if not even_seen:
        bound = 10 * math.log10((max(even, 0.0) + DETECTED * even_std) / odd)
        return Unmeasured("dB", "only odd harmonics rise above the noise", following, at_most=bound)
    if not odd_seen:
        bound = 10 * math.log10(even / (max(odd, 0.0) + DETECTED * odd_std))
        return Unmeasured("dB", "only even harmonics rise above the noise", following, at_least=bound)
    value = 10 * math.log10(even / odd)
    if cell.path_shares is not None and even > Z95 * even_std and odd > Z95 * odd_std:
        low = (even - Z95 * even_std) / (odd + Z95 * odd_std)
        high = (even + Z95 * even_std) / (odd - Z95 * odd_std)
        return Quantity(value, 10 * math.log10(low), 10 * math.log10(high), "dB")
    return Quantity.from_std(value, DB_PER_NEPER / 2 * math.hypot(even_std / even, odd_std / odd), "dB")


@dataclass(frozen=True)
class Growth:
    """How fast one order grows: dB of its own level per dB of input, over the levels it was fitted to."""

    order: int
    slope: Quantity
    from_dbfs: float
    to_dbfs: float


def growth_laws(rungs: Sequence[LevelRung]) -> tuple[Growth, ...]:
    """Fit the growth of each order over the lowest levels that show it.

    Parameters
    ----------
    rungs : sequence of LevelRung
        One frequency, levels ascending; those under gain reduction are left out.

    Notes
    -----
    An order whose level comes from the power of the same order alone grows by that many dB per dB (slope n).
    The slope is the weighted least-squares line through the lowest three or more detected rungs, the weights
    including 0.05 dB for curvature.
    """
    out = []
    for order in range(2, HIGHEST + 1):
        seen = [rung for rung in rungs if _clear(rung, order)][: GROWTH_RUNGS + 1]
        if len(seen) < GROWTH_RUNGS:
            continue
        x = np.array([rung.input_dbfs for rung in seen])
        sizes = np.array([abs(rung.cell.fit.amplitudes[order - 1]) for rung in seen])
        y = 20 * np.log10(sizes)
        noise = np.array([float(rung.cell.fit.stds[order - 1]) for rung in seen])
        std = np.hypot(DB_PER_NEPER * noise / sizes, BOTH_SIDES_DB)
        weight = 1 / std**2
        centred = x - float(weight @ x / weight.sum())
        energy = float(weight @ centred**2)
        slope = float((weight * centred) @ y / energy)
        out.append(Growth(order, Quantity.from_std(slope, 1 / math.sqrt(energy), "dB/dB"), x[0], x[-1]))
    return tuple(out)


def _clear(rung: LevelRung, order: int) -> bool:
    """Whether an order stands so far over the noise that picking such rungs does not favour high readings."""
    if not rung.cell.detected(order) or rung.near_rig(order) or not rung.idle:
        return False
    return bool(abs(rung.cell.ratios[order - 2]) > CLEAR * rung.cell.stds[order - 2])


def _never(levels: list[float], thds: list[Reading], target_dbc: float, named: str) -> Unmeasured:
    clear = [level for level, thd in zip(levels, thds, strict=True) if (thd.most or 0.0) < target_dbc]
    if not clear:
        reason = f"noise hides distortion of {named} at every level read"
        return Unmeasured("dBFS", reason, "record with less noise or longer tones")
    reason = f"distortion stays below {named} up to {number_text(max(clear), 1)} dBFS"
    return Unmeasured("dBFS", reason, "a recipe with hotter tones", at_least=max(clear))


def _power_slope(cell: HarmonicCell) -> float:
    """DB by which THD grows per dB where order n comes of the power n alone."""
    seen = np.array([order for order in range(2, cell.orders + 1) if cell.detected(order)] or [2])
    return float(np.average(seen - 1, weights=np.abs(cell.ratios[seen - 2]) ** 2))


def _shared_with_rig(rung: LevelRung) -> bool:
    if rung.rig is None or not isinstance(rung.rig.thd, Quantity):
        return False
    wet, rig = rung.cell.power(range(2, HIGHEST + 1))[0], rung.rig.power(range(2, HIGHEST + 1))[0]
    return wet < NEAR_RIG**2 * rig


def _interpolated(
    levels: list[float], thds: list[Reading], at: int, target_dbc: float
) -> tuple[float, float]:
    """Level of the target between rungs ``at - 1`` and ``at``, and the standard uncertainty of the method."""
    found = {i: thd.value for i, thd in enumerate(thds) if isinstance(thd, Quantity)}
    left, right = levels[at - 1], levels[at]
    straight = left + (target_dbc - found[at - 1]) / (found[at] - found[at - 1]) * (right - left)
    roots = []
    for third in (at - 2, at + 1):
        if third in found:
            i = [third, at - 1, at]
            curve = np.polynomial.Polynomial.fit([levels[k] for k in i], [found[k] for k in i], 2)
            inside = [float(r.real) for r in (curve - target_dbc).roots() if abs(r.imag) < 1e-9]
            roots += [r for r in inside if left - 1e-9 <= r <= right + 1e-9][:1]
    if not roots:
        return straight, (right - left) / 12
    value = float(np.mean(roots))
    spread = abs(roots[0] - roots[1]) / 2 if len(roots) > 1 else abs(value - straight) / 2
    return value, math.hypot(spread, BOTH_SIDES_DB / 2)
