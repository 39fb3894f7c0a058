"""Filters of the side chain at one sample: what they will give for it, and moved on by it."""

from __future__ import annotations

from charprobe.replica import coefficients as at
from charprobe.values.arrays import Array, Index
from charprobe.values.compiled import compiled_in_place, compiled_inside

FILTER = 4  # two stores of the low cut, last in and out of the shelf; behind them the all-pass chains


@compiled_inside
def opened(
    f: Array, k: int, c: Array, codes: Index, one: Array, two: Array
) -> tuple[float, float, float, float]:
    """What the side chain's filters give for the next sample u: ``p0 + p1 u``; for the envelope twice."""
    p0, p1 = 0.0, 1.0
    if c[at.CUT_B0] != 1.0:
        p0, p1 = f[k, 0], c[at.CUT_B0]
    p0, p1 = c[at.SHELF_B0] * p0 + c[at.SHELF_B1] * f[k, 2] + c[at.SHELF_A] * f[k, 3], c[at.SHELF_B0] * p1
    if codes[0] != 2:
        return p0, p1, 0.0, 0.0
    place = FILTER
    q0, q1 = p0, p1
    for i in range(one.size):
        q0, q1 = one[i] * q0 - f[k, place + 1] + one[i] * f[k, place + 3], one[i] * q1
        place += 2
    place = FILTER + 2 * one.size + 2
    s0, s1 = f[k, place + 2 * two.size], 0.0  # one sample later
    return q0, q1, s0, s1


@compiled_inside
def close(u: float, f: Array, k: int, c: Array, codes: Index, one: Array, two: Array) -> None:
    """Move the side chain's filters on by the sample u."""
    x = u
    if c[at.CUT_B0] != 1.0:
        x = c[at.CUT_B0] * u + f[k, 0]
        f[k, 0] = c[at.CUT_B1] * u - c[at.CUT_A1] * x + f[k, 1]
        f[k, 1] = c[at.CUT_B2] * u - c[at.CUT_A2] * x
    y = c[at.SHELF_B0] * x + c[at.SHELF_B1] * f[k, 2] + c[at.SHELF_A] * f[k, 3]
    f[k, 2], f[k, 3] = x, y
    if codes[0] == 2:
        place = _chain(y, f, k, one, FILTER)
        _chain(y, f, k, two, place)


@compiled_in_place
def _chain(x: float, f: Array, k: int, squares: Array, place: int) -> int:
    """Move sections ``y = c (x + y'') - x''`` on; each keeps two inputs, the last its outputs too."""
    for i in range(squares.size):
        y = squares[i] * (x + f[k, place + 3]) - f[k, place + 1]
        f[k, place + 1], f[k, place] = f[k, place], x
        x = y
        place += 2
    f[k, place + 1], f[k, place] = f[k, place], x
    return place + 2
