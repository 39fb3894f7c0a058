"""One step of a gain cell: what the detector reads, what the cell answers, the next state beside the last."""

from __future__ import annotations

import numpy as np

from charprobe.replica import coefficients as at
from charprobe.values.arrays import Array, Index
from charprobe.values.compiled import compiled_in_place, compiled_inside

# reading, samples kept, output or fast store, held or slow store, samples held, slope of the computer,
# reduction, the same linked, poles of attack and release
STATE, MOVED = 10, 8
LN_DB = 20 / np.log(10)
LEAST_GAIN = 1e-12  # to the power by which it is smoothed: rounding
FALLEN_DB, FALLEN = 0.01, 1e-3  # by as much of its size, or in dB, a target lies below: then a hold begins


@compiled_in_place
def computer(level: float, c: Array, codes: Index) -> tuple[float, float]:
    """Reduction in dB at a level, and its slope."""
    total, slope = 0.0, 0.0
    for i in range(3):
        first = at.BEND + 4 * i
        s = c[first + 1]
        if s == 0.0:
            continue
        sign = -1.0 if codes[6 + i] == 1 else 1.0
        over, knee = sign * (level - c[first]), c[first + 2]
        if over <= -knee / 2:
            continue
        if over < knee / 2:
            inside = over + knee / 2
            amount, steep = inside * inside / (2 * knee), inside / knee
        else:
            amount, steep = over, 1.0
        one = s * amount
        if abs(one) >= c[first + 3]:
            one, steep = np.copysign(c[first + 3], one), 0.0
        total += one
        slope += sign * s * steep
    return total, slope


@compiled_in_place
def _fallen(x: float, before: float, pole: float, rest: float, to_target: bool, held: bool) -> float:
    if held:
        return before
    return pole * before + (1 - pole) * (x if to_target else rest)


@compiled_in_place
def _follow(
    x: float, rest: float, in_db: bool, z: Array, k: int, c: Array, codes: Index, a: float, r: float,
    new: Array,
) -> float:  # fmt: skip
    """Let one store follow a target; leaves it in `new`."""
    to_target, decoupled = codes[3] == 1, codes[2] == 1
    before = z[k, 3] if decoupled else z[k, 2]
    since = 0.0 if x >= before - (FALLEN_DB if in_db else FALLEN * before) else z[k, 4] + 1
    held = 0 < since <= c[at.HOLD]
    new[k, 4] = since
    if decoupled:
        new[k, 3] = max(x, _fallen(x, before, r, rest, to_target, held))
        new[k, 2] = a * z[k, 2] + (1 - a) * new[k, 3]
    else:
        new[k, 3] = z[k, 3]
        new[k, 2] = a * before + (1 - a) * x if x > before else _fallen(x, before, r, rest, to_target, held)
    return float(new[k, 2])


@compiled_in_place
def _bent(x: float, power: float) -> float:
    """A reduction in dB as it is smoothed, as steep at rest."""
    return float(np.expm1(power * x) / power) if power != 0.0 else x


@compiled_in_place
def _unbent(x: float, power: float) -> float:
    return float(np.log1p(max(power * x, LEAST_GAIN - 1)) / power) if power != 0.0 else x


@compiled_in_place
def _two_stores(x: float, z: Array, k: int, c: Array, kind: int, a: float, r: float, new: Array) -> float:
    """Two-stage releases of the reduction; leaves fast and slow store in `new`, returns what they give."""
    fast, slow, share, new[k, 4] = z[k, 2], z[k, 3], c[at.SHARE], 0.0
    if kind in (1, 5):  # side by side, larger
        pole = a if x > fast else r
        fast = pole * fast + (1 - pole) * x
        pole = c[at.SLOW] if x <= slow else a if kind == 1 else c[at.CHARGE]
        slow = pole * slow + (1 - pole) * x
        new[k, 2], new[k, 3] = fast, slow
        return float(max(fast, slow) if kind == 5 else (1 - share) * fast + share * slow)
    if kind == 2:  # shared
        charge = (1 - a) * max(0.0, x - fast - slow)
        new[k, 2] = r * fast + (1 - share) * charge
        new[k, 3] = c[at.SLOW] * slow + share * charge
        return float(new[k, 2] + new[k, 3])
    if kind == 4:  # slowed
        longer = 1 + c[at.STRETCH] * slow / (abs(fast) + c[at.STRETCH_DB])
        pole = a if x > fast else np.exp(-c[at.RELEASE_PACE] / longer)
        new[k, 2] = pole * fast + (1 - pole) * x
        pole = c[at.CHARGE] if abs(new[k, 2]) > slow else c[at.SLOW]
        new[k, 3] = pole * slow + (1 - pole) * abs(new[k, 2])
        return float(new[k, 2])
    if x > slow:  # charged
        moved = (1 - c[at.CHARGE]) * (x - slow)
        slow += moved
        fast -= share * moved
    else:
        slow = c[at.SLOW] * slow + (1 - c[at.SLOW]) * x
    goal = max(0.0, x - share * slow)
    pole = a if goal > fast else r
    new[k, 2], new[k, 3] = pole * fast + (1 - pole) * goal, slow
    return float(new[k, 2] + share * slow)


@compiled_inside
def set_pace(z: Array, k: int, c: Array, codes: Index) -> None:
    """Set the poles of the next step; a loop in dB closes at once as far as a sample is read at once."""
    z[k, 8], z[k, 9] = c[at.ATTACK], c[at.RELEASE]
    if codes[5] == 1 and 0 < codes[1] < 3:
        loop = max(1 + (1 - c[at.RISE]) * z[k, 5], 0.05)
        z[k, 8] = 1 / (1 + np.expm1(min(loop * c[at.ATTACK_PACE], 700.0)) / loop)
        z[k, 9] = 1 / (1 + np.expm1(min(loop * c[at.RELEASE_PACE], 700.0)) / loop)


@compiled_in_place
def _in_db(reading: float, exponent: float, floor: float) -> float:
    return float(max(floor, LN_DB / exponent * np.log(reading))) if reading > 0.0 else floor


@compiled_inside
def detected(m: float, z: Array, k: int, c: Array, codes: Index, new: Array) -> float:
    """What the detector reads once it meets the magnitude `m`: in dB, unless that itself is smoothed."""
    p = c[at.EXPONENT]
    v = m
    if codes[0] == 1:
        v = c[at.SCALE] * (m if p == 1.0 else m * m if p == 2.0 else m**p)
    if v >= z[k, 0]:
        new[k, 0], new[k, 1] = c[at.RISE] * z[k, 0] + (1 - c[at.RISE]) * v, 0.0
    else:
        new[k, 1] = z[k, 1] + 1
        new[k, 0] = z[k, 0] if new[k, 1] <= c[at.KEPT] else c[at.FALL] * z[k, 0] + (1 - c[at.FALL]) * v
    if codes[1] == 3:
        return float(new[k, 0] if p == 1.0 else np.sqrt(new[k, 0]) if p == 2.0 else new[k, 0] ** (1 / p))
    return float(new[k, 0]) if codes[1] == 0 else _in_db(new[k, 0], p, c[at.FLOOR])


@compiled_inside
def answered(x: float, z: Array, k: int, c: Array, codes: Index, new: Array) -> float:
    """Reduction in dB once the detector reads `x`, the state being `z`; the next is `new`."""
    a, r, domain = z[k, 8], z[k, 9], codes[1]
    level = x
    if domain == 0:
        level = _in_db(_follow(x, 0.0, False, z, k, c, codes, a, r, new), c[at.EXPONENT], c[at.FLOOR])
    elif domain == 3:
        level = _in_db(_follow(x, 0.0, False, z, k, c, codes, a, r, new), 1.0, c[at.FLOOR])
    elif domain == 1:
        level = _follow(x - c[at.FLOOR], 0.0, True, z, k, c, codes, a, r, new) + c[at.FLOOR]
    reduction, new[k, 5] = computer(level, c, codes)
    if domain == 2:
        wanted = _bent(reduction, c[at.POWER])
        if codes[4] == 0:
            met = _follow(wanted, 0.0, True, z, k, c, codes, a, r, new)
        else:
            met = _two_stores(wanted, z, k, c, codes[4], a, r, new)
        reduction = _unbent(met, c[at.POWER])
    new[k, 6] = reduction
    return reduction


@compiled_inside
def responded(m: float, z: Array, k: int, c: Array, codes: Index, new: Array) -> float:
    """Reduction in dB once the detector meets the magnitude `m`, the state being `z`; the next is `new`."""
    return answered(detected(m, z, k, c, codes, new), z, k, c, codes, new)
