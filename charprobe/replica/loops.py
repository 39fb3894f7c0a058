"""The sample loop of a gain cell: its step run forwards, and solved for what went in.

With feed-forward the step is known from the input and printing is a product; taking back solves
``level = printed level + reduction(level)`` for each sample. With feedback the step is known from the output,
so that taking back is a product and printing solves ``level = input level - reduction(level)``. Both are one
equation, whose root is found on the step itself: whichever branch of detector and smoother the root falls
into is by construction the one that agrees with its own condition.
"""

from __future__ import annotations

import numpy as np

from charprobe.replica import coefficients as at
from charprobe.replica.curve import curved
from charprobe.replica.side_chain import close, opened
from charprobe.replica.steps import LN_DB, MOVED, answered, detected, responded, set_pace
from charprobe.values.arrays import Array, Flags, Index
from charprobe.values.compiled import compiled_in_place, compiled_inside

_CLOSED = 1e-9  # dB: bracket without a root
_FARTHEST = 90.0  # dB between what is known and what is looked for


@compiled_inside
def _solved(
    known: float,
    start: float,
    reached: float, other: float, sign: float, link: float, s: Array, z: Array, k: int, c: Array,
    codes: Index, table: Array, new: Array,
) -> tuple[float, bool]:  # fmt: skip
    """Sample whose level is that of `known` plus `sign` times the reduction it causes; whether there is one.

    `start` is a guess of the reduction, `reached` the error in dB that is left; `other` is the greatest
    reduction of the other channels, `s` what `opened` gave.
    """
    low, high, over = -1e9, 1e9, sign * start  # over: level of the sample less that of `known`
    before, error_before = 0.0, 0.0
    u, found, last = 0.0, True, known == 0.0
    for turn in range(80):
        u = known * np.exp(over / LN_DB)
        heard = curved(u, table)
        w = s[k, 0] + s[k, 1] * heard
        m = abs(w) if codes[0] != 2 else np.hypot(w, s[k, 2] + s[k, 3] * heard)
        r = responded(m, z, k, c, codes, new)
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
            u *= 1 + step / LN_DB
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
                set_pace(z, k, c, codes)
                s[k, 0], s[k, 1], s[k, 2], s[k, 3] = opened(f, k, c, codes, one, two)
                u = curved(sound[n, k], table) if backwards else sound[n, k]
                w = s[k, 0] + s[k, 1] * u
                m = abs(w) if codes[0] != 2 else np.hypot(w, s[k, 2] + s[k, 3] * u)
                top = max(top, responded(m, z, k, c, codes, new))
                close(u, f, k, c, codes, one, two)
            for k in range(channels):
                r = (1 - link) * new[k, 6] + link * top
                new[k, 7] = reduction[n, k] = r
                out[n, k] = sound[n, k] * np.exp(sign * r / LN_DB)
                for i in range(MOVED):
                    z[k, i] = new[k, i]
            continue
        for k in range(channels):
            set_pace(z, k, c, codes)
            s[k, 0], s[k, 1], s[k, 2], s[k, 3] = opened(f, k, c, codes, one, two)
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
                    sound[n, k], z[k, 7] + rise[n, k], reached, other, sign, link, s, z, k, c, codes,
                    table, new,
                )  # fmt: skip
                lost[n, k] = not found
                moved = max(moved, abs(new[k, 6] - was))
            if moved < 1e-10:
                break
        top = -1e9
        for k in range(channels):
            top = max(top, new[k, 6])
        for k in range(channels):
            close(curved(out[n, k], table) if feedback else out[n, k], f, k, c, codes, one, two)
            new[k, 7] = reduction[n, k] = (1 - link) * new[k, 6] + link * top
            for i in range(MOVED):
                z[k, i] = new[k, i]


@compiled_in_place
def read(
    sound: Array, f: Array, z: Array, c: Array, codes: Index, one: Array, two: Array, new: Array, out: Array
) -> None:  # fmt: skip
    """What the detector of a feed-forward cell reads of one channel, shape (n,); state as in `run_cell`."""
    for n in range(sound.size):
        p0, p1, q0, q1 = opened(f, 0, c, codes, one, two)
        w = p0 + p1 * sound[n]
        m = abs(w) if codes[0] != 2 else np.hypot(w, q0 + q1 * sound[n])
        out[n] = detected(m, z, 0, c, codes, new)
        close(sound[n], f, 0, c, codes, one, two)
        z[0, 0], z[0, 1] = new[0, 0], new[0, 1]


@compiled_in_place
def answer(reading: Array, z: Array, c: Array, codes: Index, new: Array, reduction: Array) -> None:
    """Fill the reduction in dB that a feed-forward cell makes of what `read` gave."""
    set_pace(z, 0, c, codes)
    for n in range(reading.size):
        reduction[n] = answered(reading[n], z, 0, c, codes, new)
        for i in range(2, MOVED):
            z[0, i] = new[0, i]
