"""Ballistics: how a level or a reduction is let follow its target, sample by sample."""

from __future__ import annotations

from typing import Literal, get_args

from charprobe.simulation.devices.parts.first_order import coefficient
from charprobe.values.arrays import Array
from charprobe.values.compiled import compiled_in_place

Smoothing = Literal["branching", "smooth branching", "decoupled", "smooth decoupled"]
FORMS: tuple[Smoothing, ...] = get_args(Smoothing)


def follow(
    values: Array,
    *,
    attack_s: float,
    release_s: float,
    hold_s: float = 0.0,
    form: Smoothing,
    rate_hz: float,
    rest: float = 0.0,
    in_db: bool = True,
) -> Array:
    """Follow a target, rising with the attack and falling with the release time constant.

    Parameters
    ----------
    values : ndarray, shape (n,)
        The target, level or reduction in any domain, what is loud is large; then what follows it, in place.
    attack_s, release_s : float >= 0
        One-pole time constants (63.2 % of a step); 0 follows at once.
    hold_s : float >= 0
        Dead time before a fall begins, counted from the last sample at which the target was not below the
        output by more than 0.01 dB, or 0.1 % of what is no dB: as much at any level.
    form : {"branching", "smooth branching", "decoupled", "smooth decoupled"}
        The plain forms decay towards `rest`, the smooth ones towards the target.
    rate_hz : float > 0
        Sampling rate.
    rest : float
        Where the output starts and the plain forms decay to.
    in_db : bool
        Whether `target` is in dB.

    Returns
    -------
    ndarray, shape (n,)

    Notes
    -----
    With attack A and release R the decoupled forms put the attack filter behind the release: a release of a
    step lasts 1.010, 1.051, 1.105, 1.222, 1.585 R to 63.2 % for A/R = 0.01, 0.05, 0.1, 0.2, 0.5.
    """
    a, r = coefficient(attack_s, rate_hz), coefficient(release_s, rate_hz)
    number = FORMS.index(form)
    _follow(values, a, r, round(hold_s * rate_hz), number >= 2, number % 2 == 1, rest, in_db)
    return values


@compiled_in_place
def _follow(
    values: Array,
    a: float,
    r: float,
    hold: int,
    decoupled: bool,
    smooth: bool,
    rest: float,
    in_db: bool,
) -> None:
    held = out_now = rest
    since = hold
    for n in range(values.size):
        x = values[n]
        goal = x if smooth else rest
        before = held if decoupled else out_now
        since = 0 if x >= before - (0.01 if in_db else 1e-3 * before) else since + 1
        falling = before if 0 < since <= hold else r * before + (1 - r) * goal
        if decoupled:
            held = max(x, falling)
            out_now = a * out_now + (1 - a) * held
        else:
            out_now = a * before + (1 - a) * x if x > before else falling
        values[n] = out_now


def follow_two_stage(
    values: Array,
    *,
    attack_s: float,
    fast_s: float,
    slow_s: float,
    charge_s: float,
    slow_share: float,
    rate_hz: float,
) -> Array:
    """Follow a reduction with a fast store and a slow one that remembers how long it has been loud.

    The slow store charges towards the target with `charge_s`, out of the fast one, and empties with `slow_s`;
    the fast one makes up the rest of the target, rising with `attack_s`, falling with `fast_s`. So the sum
    rises with the attack alone, and after a burst of length h (many attacks long) at constant target recovers
    exactly as

        target * ((1 - m) exp(-t / fast_s) + m exp(-t / slow_s)),   m = slow_share (1 - exp(-h / charge_s))

    Parameters
    ----------
    values : ndarray, shape (n,)
        The target, a reduction in dB >= 0; then what follows it, in place.
    attack_s, fast_s, slow_s, charge_s : float > 0
        Time constants, fast_s < slow_s.
    slow_share : float, 0 to 1
        Share of the reduction that a long burst moves to the slow store.
    rate_hz : float > 0
        Sampling rate.

    Returns
    -------
    ndarray, shape (n,)
    """
    poles = [coefficient(time_s, rate_hz) for time_s in (attack_s, fast_s, slow_s, charge_s)]
    _follow_two_stage(values, poles[0], poles[1], poles[2], poles[3], slow_share)
    return values


@compiled_in_place
def _follow_two_stage(values: Array, a: float, fast: float, slow: float, charge: float, share: float) -> None:
    slow_now = fast_now = 0.0
    for n in range(values.size):
        x = values[n]
        if x > slow_now:
            moved = (1 - charge) * (x - slow_now)
            slow_now += moved
            fast_now -= share * moved
        else:
            slow_now = slow * slow_now + (1 - slow) * x
        goal = max(0.0, x - share * slow_now)
        pole = a if goal > fast_now else fast
        fast_now = pole * fast_now + (1 - pole) * goal
        values[n] = share * slow_now + fast_now
