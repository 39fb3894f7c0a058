"""The gain of one channel by many cells of one structure: what fits run, with the state in plain numbers."""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter, sosfilt

from charprobe.replica import coefficients as at
from charprobe.replica.coefficients import coefficients, quadrature_sections
from charprobe.replica.flat import codes_of
from charprobe.replica.parts import Cell
from charprobe.values.arrays import Array, Index
from charprobe.values.compiled import compiled

_LN_DB = 20 / np.log(10)
_TURNS, _CLOSE_DB = 40, 1e-7


def gain_rows_db(cell: Cell, rows: Array, samples: Array, *, rate_hz: float) -> Array:
    """Gain of one channel by several cells that have the structure of `cell`, for fits.

    Parameters
    ----------
    cell : Cell
        Structure, make-up and look-ahead; its other numbers are not used. No link, and no colour in the loop.
    rows : ndarray, shape (k, len(flat.NAMES))
        Numbers, in the order of `flat.NAMES`; see `flat.flatten`.
    samples : ndarray, shape (n,)
        Input of the cell, from rest; full scale = 1.
    rate_hz : float > 0
        Sampling rate.

    Returns
    -------
    ndarray, shape (k, n)
        Gain in dB at each sample of the input, make-up included; a look-ahead is done: sample n carries the
        gain that meets it.

    Examples
    --------
    >>> from charprobe.replica.flat import flatten
    >>> from charprobe.replica.parts import Bend
    >>> cell = Cell(bends=(Bend(-20.0, 0.5),))
    >>> rows = np.stack([flatten(cell), flatten(Cell(bends=(Bend(-10.0, 0.5),)))])
    >>> gain_rows_db(cell, rows, np.ones(2), rate_hz=48_000).round(6).tolist()
    [[-10.0, -10.0], [-5.0, -5.0]]
    """
    codes = codes_of(cell)
    late = round(cell.lookahead_s * rate_hz)
    sound = np.concatenate([samples, np.zeros(late)])
    reduction = np.empty((rows.shape[0], sound.size))
    known: dict[bytes, Array] = {}
    for row, found in zip(coefficients(rows, codes, rate_hz=rate_hz), reduction, strict=True):
        filters = row[at.CUT_B : at.SHELF_A + 1].tobytes()
        if codes[5] == 1:
            _feedback(sound, row, codes, found)
        else:
            if filters not in known:
                known[filters] = _magnitude(sound, row, codes, rate_hz)
            _feedforward(known[filters], row, codes, found)
    return np.asarray(cell.makeup_db - reduction[:, late:])


def _magnitude(sound: Array, row: Array, codes: Index, rate_hz: float) -> Array:
    """What the rectifier gives behind the side chain's filters."""
    heard = _heard(sound, row)
    if codes[0] != 2:
        return np.abs(heard)
    one, two = quadrature_sections(float(rate_hz))
    first = sosfilt(_sections(one), heard)
    second = sosfilt(_sections(two), heard)
    return np.asarray(np.hypot(first, np.concatenate([[0.0], second[:-1]])))


def _heard(sound: Array, row: Array) -> Array:
    if row[at.CUT_A] != 1.0:
        sound = lfilter([row[at.CUT_B], -row[at.CUT_B]], [1.0, -row[at.CUT_A]], sound)
    if (row[at.SHELF_B0], row[at.SHELF_A]) != (1.0, -row[at.SHELF_B1]):
        sound = lfilter([row[at.SHELF_B0], row[at.SHELF_B1]], [1.0, -row[at.SHELF_A]], sound)
    return np.asarray(sound)


def _sections(squares: Array) -> Array:
    return np.array([[c, 0.0, -1.0, 1.0, 0.0, -c] for c in squares])


@compiled
def _computed(level: float, c: Array, codes: Index) -> tuple[float, float]:
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


@compiled
def _followed(
    x: float, unit: float, y: float, held: float, since: float, hold: float, a: float, r: float,
    to_target: bool, decoupled: bool,
) -> tuple[float, float, float]:  # fmt: skip
    """One store that follows a target: output, what is held, samples since it last rose."""
    before = held if decoupled else y
    since = 0.0 if x >= before - 1e-3 * max(abs(before), unit) else since + 1
    fallen = before
    if not 0 < since <= hold:
        fallen = r * before + (1 - r) * (x if to_target else 0.0)
    if decoupled:
        held = max(x, fallen)
        return a * y + (1 - a) * held, held, since
    return (a * y + (1 - a) * x if x > y else fallen), held, since


@compiled
def _two_stores(
    x: float,
    fast: float,
    slow: float,
    kind: int,
    a: float,
    r: float,
    slow_pole: float,
    share: float,
    charge: float,
) -> tuple[float, float, float]:
    """Two-stage releases: what both stores give, the fast and the slow one."""
    if kind == 1:
        pole = a if x > fast else r
        fast = pole * fast + (1 - pole) * x
        pole = a if x > slow else slow_pole
        slow = pole * slow + (1 - pole) * x
        return (1 - share) * fast + share * slow, fast, slow
    if kind == 2:
        added = (1 - a) * max(0.0, x - fast - slow)
        fast = r * fast + (1 - share) * added
        slow = slow_pole * slow + share * added
        return fast + slow, fast, slow
    if x > slow:
        moved = (1 - charge) * (x - slow)
        slow += moved
        fast -= share * moved
    else:
        slow = slow_pole * slow + (1 - slow_pole) * x
    goal = max(0.0, x - share * slow)
    pole = a if goal > fast else r
    fast = pole * fast + (1 - pole) * goal
    return fast + share * slow, fast, slow


@compiled
def _stepped(
    m: float, read: float, kept: float, y: float, held: float, since: float, a: float, r: float, c: Array,
    codes: Index,
) -> tuple[float, float, float, float, float, float, float]:  # fmt: skip
    """One sample: reduction in dB, slope of the computer, and the state behind it."""
    p = c[at.EXPONENT]
    v = m
    if codes[0] == 1:
        v = c[at.SCALE] * (m if p == 1.0 else m * m if p == 2.0 else m**p)
    if v >= read:
        read, kept = c[at.RISE] * read + (1 - c[at.RISE]) * v, 0.0
    else:
        kept += 1
        if kept > c[at.KEPT]:
            read = c[at.FALL] * read + (1 - c[at.FALL]) * v
    to_target, decoupled, domain, kind = codes[3] == 1, codes[2] == 1, codes[1], codes[4]
    reading = read
    if domain == 0:
        y, held, since = _followed(reading, 1e-6, y, held, since, c[at.HOLD], a, r, to_target, decoupled)
        reading = y
    level = -120.0
    if reading > 0.0:
        level = max(-120.0, 20 / p * np.log10(reading))
    if domain == 1:
        y, held, since = _followed(level + 120, 1.0, y, held, since, c[at.HOLD], a, r, to_target, decoupled)
        level = y - 120
    reduction, slope = _computed(level, c, codes)
    if domain == 2:
        if kind == 0:
            y, held, since = _followed(reduction, 1.0, y, held, since, c[at.HOLD], a, r, to_target, decoupled)
            reduction = y
        else:
            reduction, y, held = _two_stores(
                reduction, y, held, kind, a, r, c[at.SLOW], c[at.SHARE], c[at.CHARGE]
            )
    return reduction, slope, read, kept, y, held, since


@compiled
def _feedforward(magnitude: Array, c: Array, codes: Index, out: Array) -> None:
    read, kept, y, held, since = 0.0, 0.0, 0.0, 0.0, 0.0
    a, r = c[at.ATTACK], c[at.RELEASE]
    for n in range(magnitude.size):
        out[n], _, read, kept, y, held, since = _stepped(
            magnitude[n], read, kept, y, held, since, a, r, c, codes
        )


@compiled
def _feedback(sound: Array, c: Array, codes: Index, out: Array) -> None:
    """A loop without delay around a plain rectifier: each sample solves level = input level - reduction."""
    read, kept, y, held, since = 0.0, 0.0, 0.0, 0.0, 0.0
    reduction, slope = 0.0, 0.0
    cut_in, cut_out, shelf_in, shelf_out = 0.0, 0.0, 0.0, 0.0
    cut = c[at.CUT_A] != 1.0
    for n in range(sound.size):
        a, r = c[at.ATTACK], c[at.RELEASE]
        if codes[1] > 0:
            loop = max(1 + slope, 0.05)
            a = 1 / (1 + np.expm1(min(loop * c[at.ATTACK_PACE], 700.0)) / loop)
            r = 1 / (1 + np.expm1(min(loop * c[at.RELEASE_PACE], 700.0)) / loop)
        p0, p1 = 0.0, 1.0
        if cut:
            p0, p1 = c[at.CUT_A] * cut_out - c[at.CUT_B] * cut_in, c[at.CUT_B]
        p0 = c[at.SHELF_B0] * p0 + c[at.SHELF_B1] * shelf_in + c[at.SHELF_A] * shelf_out
        p1 = c[at.SHELF_B0] * p1
        guess, low, high = reduction, -1e9, 1e9
        before, error_before = 0.0, 0.0
        u = 0.0
        for turn in range(_TURNS):
            u = sound[n] * np.exp(-guess / _LN_DB)
            got, slope_now, read_now, kept_now, y_now, held_now, since_now = _stepped(
                abs(p0 + p1 * u), read, kept, y, held, since, a, r, c, codes
            )
            error = guess - got
            if abs(error) < _CLOSE_DB or sound[n] == 0.0 or high - low < _CLOSE_DB:
                break
            if error > 0:
                high = guess
            else:
                low = guess
            step = -error
            if turn > 0 and abs(error - error_before) > 1e-3 * abs(guess - before):
                step = -error * (guess - before) / (error - error_before)
            before, error_before = guess, error
            guess += step
            if low > -1e8 and high < 1e8 and (not low < guess < high or (turn > 6 and turn % 3 == 0)):
                guess = 0.5 * (low + high)
        reduction, slope = got, slope_now
        read, kept, y, held, since = read_now, kept_now, y_now, held_now, since_now
        out[n] = reduction
        w = u
        if cut:
            w = c[at.CUT_B] * (u - cut_in) + c[at.CUT_A] * cut_out
            cut_in, cut_out = u, w
        shelved = c[at.SHELF_B0] * w + c[at.SHELF_B1] * shelf_in + c[at.SHELF_A] * shelf_out
        shelf_in, shelf_out = w, shelved
