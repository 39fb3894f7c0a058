"""A phasor and its multiples over a long stretch: sums against them, and waves made of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.values.arrays import Array, Complex

BLOCK = 256


@dataclass(frozen=True)
class Orders:
    """Powers 0, 1, ... of ``exp(2 pi i (first + n per_sample))`` for n = 0 ... count - 1; see `orders_of`.

    Each value is the product of that at the start of its block (`starts`, shape (blocks, orders)) and one
    within a block (`inside`: cosines and then sines of all orders, shape (2 orders, block)), so that sums and
    waves are products of small matrices.
    """

    count: int
    starts: Complex
    inside: Array

    def sums(self, rows: Array) -> Complex:
        """Return the sum of each row times the conjugate of each order; shape (k, orders) from (k, count)."""
        (blocks, orders), block = self.starts.shape, self.inside.shape[1]
        padded = np.zeros((rows.shape[0], blocks * block))
        padded[:, : self.count] = rows
        within = (padded.reshape(-1, block) @ self.inside.T).reshape(rows.shape[0], blocks, 2 * orders)
        within = within[..., :orders] - 1j * within[..., orders:]
        return np.asarray(np.einsum("kbm,bm->km", within, self.starts.conj()))

    def wave(self, amplitudes: Complex) -> Array:
        """Return the real part of the sum of all orders times `amplitudes`, shape (count,)."""
        sizes = self.starts * amplitudes
        return np.asarray((np.hstack([sizes.real, -sizes.imag]) @ self.inside).ravel()[: self.count])


def orders_of(first_turns: float, turns_per_sample: float, *, count: int, highest: int) -> Orders:
    """Lay out orders 0 to `highest` of a phasor of `count` values; its frequency is in turns per sample.

    Examples
    --------
    >>> turning = orders_of(0.25, 0.01, count=5000, highest=1)
    >>> wave = turning.wave(np.array([0.0, 1.0]))
    >>> bool(np.abs(wave + np.sin(0.02 * np.pi * np.arange(5000))).max() < 1e-11)
    True
    """
    block = min(BLOCK, count)
    orders = np.arange(highest + 1)
    base = (first_turns + block * turns_per_sample * np.arange(-(-count // block))) % 1.0
    phase = 2 * np.pi * (np.outer(orders, turns_per_sample * np.arange(block)) % 1.0)
    starts = np.exp(2j * np.pi * (np.outer(base, orders) % 1.0))
    return Orders(count, starts, np.concatenate([np.cos(phase), np.sin(phase)]))
