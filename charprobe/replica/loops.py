"""The sample loop of a gain cell: one step, run forwards, and solved for what went in.

With feed-forward the step is known from the input and printing is a product; taking back solves
``level = printed level + reduction(level)`` for each sample. With feedback the step is known from the output,
so that taking back is a product and printing solves ``level = input level - reduction(level)``. Both are one
equation, whose root is found on the step itself: whichever branch of detector and smoother the root falls
into is by construction the one that agrees with its own condition.
"""

from __future__ import annotations

import numpy as np

from charprobe.replica import coefficients as at
from charprobe.values.arrays import Array, Flags, Index
from charprobe.values.compiled import compiled_in_place, compiled_inside

# reading, samples kept, output or fast store, held or slow store, samples held, slope of the computer,
# reduction, the same linked, poles of attack and release
STATE, MOVED = 10, 8
FILTER = 4  # last in and out of low cut and shelf; behind them the all-pass chains
_LN_DB = 20 / np.log(10)
_CLOSED = 1e-9  # dB: bracket without a root
_FARTHEST = 90.0  # dB between what is known and what is looked for


@compiled_in_place
def _computer(level: float, c: Array, codes: Index) -> tuple[float, float]:
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
    x: float, rest: float, unit: float, z: Array, k: int, c: Array, codes: Index, a: float, r: float,
    new: Array,
) -> float:  # fmt: skip
    """Let one store follow a target; leaves it in `new`."""
    to_target, decoupled = codes[3] == 1, codes[2] == 1
    before = z[k, 3] if decoupled else z[k, 2]
    since = 0.0 if x >= before - 1e-3 * max(abs(before), unit) else z[k, 4] + 1
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
def _two_stores(x: float, z: Array, k: int, c: Array, kind: int, a: float, r: float, new: Array) -> float:
    """Two-stage releases of the reduction; leaves fast and slow store in `new`, returns what they give."""
    fast, slow, share, new[k, 4] = z[k, 2], z[k, 3], c[at.SHARE], 0.0
    if kind == 1:  # side by side
        pole = a if x > fast else r
        fast = pole * fast + (1 - pole) * x
        pole = a if x > slow else c[at.SLOW]
        slow = pole * slow + (1 - pole) * x
        new[k, 2], new[k, 3] = fast, slow
        return float((1 - share) * fast + share * slow)
    if kind == 2:  # shared
        charge = (1 - a) * max(0.0, x - fast - slow)
        new[k, 2] = r * fast + (1 - share) * charge
        new[k, 3] = c[at.SLOW] * slow + share * charge
        return float(new[k, 2] + new[k, 3])
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
def _pace(z: Array, k: int, c: Array, codes: Index) -> None:
    """Set the poles of the next step; in a feedback loop in dB the closed loop's is the continuous one."""
    z[k, 8], z[k, 9] = c[at.ATTACK], c[at.RELEASE]
    if codes[5] == 1 and 0 < codes[1] < 3:
        loop = max(1 + z[k, 5], 0.05)
        z[k, 8] = 1 / (1 + np.expm1(min(loop * c[at.ATTACK_PACE], 700.0)) / loop)
        z[k, 9] = 1 / (1 + np.expm1(min(loop * c[at.RELEASE_PACE], 700.0)) / loop)


@compiled_in_place
def _in_db(reading: float, exponent: float) -> float:
    return float(max(-120.0, _LN_DB / exponent * np.log(reading))) if reading > 0.0 else -120.0


@compiled_inside
def _read(m: float, z: Array, k: int, c: Array, codes: Index, new: Array) -> float:
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
    return float(new[k, 0]) if codes[1] == 0 else _in_db(new[k, 0], p)


@compiled_inside
def _answer(x: float, z: Array, k: int, c: Array, codes: Index, new: Array) -> float:
    """Reduction in dB once the detector reads `x`, the state being `z`; the next is `new`."""
    a, r, domain = z[k, 8], z[k, 9], codes[1]
    level = x
    if domain == 0:
        level = _in_db(_follow(x, 0.0, 1e-6, z, k, c, codes, a, r, new), c[at.EXPONENT])
    elif domain == 3:
        level = _in_db(_follow(x, 0.0, 1e-6, z, k, c, codes, a, r, new), 1.0)
    elif domain == 1:
        level = _follow(x + 120, 0.0, 1.0, z, k, c, codes, a, r, new) - 120
    reduction, new[k, 5] = _computer(level, c, codes)
    if domain == 2:
        if codes[4] == 0:
            reduction = _follow(reduction, 0.0, 1.0, z, k, c, codes, a, r, new)
        else:
            reduction = _two_stores(reduction, z, k, c, codes[4], a, r, new)
    new[k, 6] = reduction
    return reduction


@compiled_inside
def _respond(m: float, z: Array, k: int, c: Array, codes: Index, new: Array) -> float:
    """Reduction in dB once the detector meets the magnitude `m`, the state being `z`; the next is `new`."""
    return _answer(_read(m, z, k, c, codes, new), z, k, c, codes, new)


@compiled_inside
def _opened(
    f: Array, k: int, c: Array, codes: Index, one: Array, two: Array
) -> tuple[float, float, float, float]:
    """What the side chain's filters give for the next sample u: ``p0 + p1 u``; for the envelope twice."""
    p0, p1 = 0.0, 1.0
    if c[at.CUT_A] != 1.0:
        p0, p1 = c[at.CUT_A] * f[k, 1] - c[at.CUT_B] * f[k, 0], c[at.CUT_B]
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
def _closed(u: float, f: Array, k: int, c: Array, codes: Index, one: Array, two: Array) -> None:
    """Move the side chain's filters on by the sample u."""
    x = u
    if c[at.CUT_A] != 1.0:
        x = c[at.CUT_B] * (u - f[k, 0]) + c[at.CUT_A] * f[k, 1]
        f[k, 0], f[k, 1] = u, x
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


@compiled_in_place
def _shaped(x: float, table: Array) -> float:
    """Curve plus its input: cubic between the rows (offset, slope) of a table, straight beyond them."""
    if table.shape[0] < 2:
        return x
    top = table[-1, 2]
    half = (table.shape[0] - 1) / 2
    if x >= top:
        return float(x + table[-1, 0] + table[-1, 1] * (x - top))
    if x <= -top:
        return float(x + table[0, 0] + table[0, 1] * (x + top))
    place = (x / top + 1) * half
    k = min(int(place), table.shape[0] - 2)
    t, step = place - k, top / half
    d = table[k + 1, 0] - table[k, 0]
    m0, m1 = table[k, 1] * step, table[k + 1, 1] * step
    added = table[k, 0] + t * (m0 + t * (3 * d - 2 * m0 - m1 + t * (m0 + m1 - 2 * d)))
    return float(x + added)


@compiled_in_place
def shape(samples: Array, table: Array, out: Array) -> None:
    """Send every sample through a curve, less itself: what the curve adds."""
    for n in range(samples.size):
        out[n] = _shaped(samples[n], table) - samples[n]


@compiled_inside
def _solved(
    known: float,
    start: float,
    reached: float, other: float, sign: float, link: float, s: Array, z: Array, k: int, c: Array,
    codes: Index, table: Array, new: Array,
) -> tuple[float, bool]:  # fmt: skip
    """Sample whose level is that of `known` plus `sign` times the reduction it causes; whether there is one.

    `start` is a guess of the reduction, `reached` the error in dB that is left; `other` is the greatest
    reduction of the other channels, `s` what `_opened` gave.
    """
    low, high, over = -1e9, 1e9, sign * start  # over: level of the sample less that of `known`
    before, error_before = 0.0, 0.0
    u, found, last = 0.0, True, known == 0.0
    for turn in range(80):
        u = known * np.exp(over / _LN_DB)
        heard = _shaped(u, table)
        w = s[k, 0] + s[k, 1] * heard
        m = abs(w) if codes[0] != 2 else np.hypot(w, s[k, 2] + s[k, 3] * heard)
        r = _respond(m, z, k, c, codes, new)
        r += link * max(0.0, other - r)
        error = over - sign * r
        if error > 0:
            high = over
        else:
            low = over
        # where the bracket closes without a root, the root lies on a jump between two branches
        if last or high - low < _CLOSED:
            break
        step = -error
        if turn > 0 and abs(error - error_before) > 1e-3 * abs(over - before):
            step = -error * (over - before) / (error - error_before)
        if abs(error) < reached:  # the last step moves the sample alone
            u *= 1 + step / _LN_DB
            break
        before, error_before = over, error
        over = over + step
        if low > -1e8 and high < 1e8:
            if (turn > 6 and turn % 3 == 0) or not low < over < high:
                over = 0.5 * (low + high)
        elif abs(over) > _FARTHEST or turn == 78:
            found, last, over = False, True, sign * z[k, 7]
    return u, found


@compiled_in_place
def run_cell(
    sound: Array, backwards: bool,
    rise: Array,
    reached: float, f: Array, z: Array, c: Array, codes: Index, one: Array, two: Array,
    table: Array, s: Array, new: Array, out: Array, reduction: Array, lost: Flags,
) -> None:  # fmt: skip
    """Send sound, shape (n, channels), through a cell less make-up and look-ahead, either way.

    Parameters
    ----------
    sound, out : ndarray, shape (n, channels)
        What is known: the cell's input, or its output when `backwards`; and what is found.
    rise : ndarray, shape (n, channels)
        By how much the reduction is thought to rise at each sample, to start the search from; zeros will do.
    reached : float
        Error in dB at which the search ends, with a last step on the sample alone.
    f, z : ndarray, shape (channels, ...)
        State of filters and stores, moved on.
    c, codes, one, two
        From `coefficients`.
    table : ndarray, shape (m, 3)
        Colour in the loop, from `colour.table_of`; one row for none.
    s, new : ndarray, shape (channels, 4) and that of `z`
        Room to work in.
    reduction : ndarray, shape (n, channels)
        Filled with dB.
    lost : ndarray of bool, shape (n, channels)
        Set where no input gives the output.
    """
    channels = sound.shape[1]
    feedback, link = codes[5] == 1, c[at.LINK]
    explicit = feedback == backwards
    sign = 1.0 if backwards else -1.0
    for n in range(sound.shape[0]):
        if explicit:
            top = -1e9
            for k in range(channels):
                _pace(z, k, c, codes)
                s[k, 0], s[k, 1], s[k, 2], s[k, 3] = _opened(f, k, c, codes, one, two)
                u = _shaped(sound[n, k], table) if backwards else sound[n, k]
                w = s[k, 0] + s[k, 1] * u
                m = abs(w) if codes[0] != 2 else np.hypot(w, s[k, 2] + s[k, 3] * u)
                top = max(top, _respond(m, z, k, c, codes, new))
                _closed(u, f, k, c, codes, one, two)
            for k in range(channels):
                r = (1 - link) * new[k, 6] + link * top
                new[k, 7] = reduction[n, k] = r
                out[n, k] = sound[n, k] * np.exp(sign * r / _LN_DB)
                for i in range(MOVED):
                    z[k, i] = new[k, i]
            continue
        for k in range(channels):
            _pace(z, k, c, codes)
            s[k, 0], s[k, 1], s[k, 2], s[k, 3] = _opened(f, k, c, codes, one, two)
            new[k, 6] = z[k, 6]
        for _ in range(1 if channels == 1 or link == 0.0 else 40):
            moved = 0.0
            for k in range(channels):
                other = -1e9
                for j in range(channels):
                    if j != k:
                        other = max(other, new[j, 6])
                was = new[k, 6]
                out[n, k], found = _solved(
                    sound[n, k],
                    z[k, 7] + rise[n, k],
                    reached,
                    other,
                    sign,
                    link,
                    s,
                    z,
                    k,
                    c,
                    codes,
                    table,
                    new,
                )
                lost[n, k] = not found
                moved = max(moved, abs(new[k, 6] - was))
            if moved < 1e-10:
                break
        top = -1e9
        for k in range(channels):
            top = max(top, new[k, 6])
        for k in range(channels):
            _closed(_shaped(out[n, k], table) if feedback else out[n, k], f, k, c, codes, one, two)
            new[k, 7] = reduction[n, k] = (1 - link) * new[k, 6] + link * top
            for i in range(MOVED):
                z[k, i] = new[k, i]


@compiled_in_place
def read(
    sound: Array, f: Array, z: Array, c: Array, codes: Index, one: Array, two: Array, new: Array, out: Array
) -> None:  # fmt: skip
    """What the detector of a feed-forward cell reads of one channel, shape (n,); state as in `run_cell`."""
    for n in range(sound.size):
        p0, p1, q0, q1 = _opened(f, 0, c, codes, one, two)
        w = p0 + p1 * sound[n]
        m = abs(w) if codes[0] != 2 else np.hypot(w, q0 + q1 * sound[n])
        out[n] = _read(m, z, 0, c, codes, new)
        _closed(sound[n], f, 0, c, codes, one, two)
        z[0, 0], z[0, 1] = new[0, 0], new[0, 1]


@compiled_in_place
def answer(reading: Array, z: Array, c: Array, codes: Index, new: Array, reduction: Array) -> None:
    """Fill the reduction in dB that a feed-forward cell makes of what `read` gave."""
    _pace(z, 0, c, codes)
    for n in range(reading.size):
        reduction[n] = _answer(reading[n], z, 0, c, codes, new)
        for i in range(2, MOVED):
            z[0, i] = new[0, i]
