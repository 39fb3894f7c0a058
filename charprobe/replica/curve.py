"""A curve without memory, read from a table, and the short filters around it."""

from __future__ import annotations

from charprobe.values.arrays import Array
from charprobe.values.compiled import compiled_in_place, compiled_sums

BLOCK = 1024  # samples that stay at hand


@compiled_in_place
def curved(x: float, table: Array) -> float:
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
        out[n] = curved(samples[n], table) - samples[n]


@compiled_sums
def add_filtered(sound: Array, taps: Array, out: Array) -> None:
    """Add what taps, shape (k,) with k a multiple of 4, make of sound, shape (n + k - 1,), to n samples."""
    for first in range(0, out.size, BLOCK):
        some = out[first : first + BLOCK]
        for k in range(0, taps.size, 4):
            a, b, c, d = taps[k], taps[k + 1], taps[k + 2], taps[k + 3]
            heard = sound[first + k :]
            for n in range(some.size):
                some[n] += a * heard[n] + b * heard[n + 1] + c * heard[n + 2] + d * heard[n + 3]
