"""Second-order sections run over blocks of sound by products of matrices, without a package of filters."""

from __future__ import annotations

import numpy as np

from charprobe.values.arrays import Array

STRETCH = 64  # frames that one product filters: longer ones cost more sums, shorter ones more states


class Sections:
    """Sections behind one another, begun at rest, for sound that arrives block by block.

    Parameters
    ----------
    sections : ndarray, shape (n, 6)
        Numerator and denominator of each, in powers of z^-1; denominators begin with 1.
    channels : int
        Filtered alike, each by itself.

    Notes
    -----
    A stretch of sound x and the state s before it give ``T x + O s`` and the state ``F s + C x``, exactly:
    T holds the response to an impulse at each frame, O what the state rings on as. States of all stretches
    take a product for each power of two: what came in is carried on over one stretch, two more, four more.
    SciPy has the recursion, but loading its filters takes as long as measuring all that stands on them.
    """

    def __init__(self, sections: Array, *, channels: int) -> None:
        self._state = np.zeros((2 * sections.shape[0], channels))
        order = self._state.shape[0]
        step = _one_frame(sections, np.eye(order + 1))
        exact = _one_frame(sections.astype(np.longdouble), np.eye(order + 1, dtype=np.longdouble))
        self._carried = [np.linalg.matrix_power(exact[1:, :order], STRETCH)]  # squares magnify rounding
        through = np.zeros((STRETCH + 1, order, order + STRETCH))  # the state by state before and sound
        through[0, :, :order] = np.eye(order)
        self._out = np.zeros((STRETCH, order + STRETCH))
        for frame in range(STRETCH):
            fed = np.zeros(order + STRETCH)
            fed[order + frame] = 1.0
            moved = step @ np.vstack([through[frame], fed])
            self._out[frame], through[frame + 1] = moved[0], moved[1:]
        self._through = through

    def filtered(self, block: Array) -> Array:
        """Return the next frames filtered, shape (n, channels) like the block."""
        order, channels = self._state.shape
        whole = block.shape[0] // STRETCH
        cut = whole * STRETCH
        sound = block[:cut].reshape(whole, STRETCH, channels).swapaxes(0, 1).reshape(STRETCH, -1)
        pushed = (self._through[STRETCH][:, order:] @ sound).reshape(order, whole, channels)
        states = np.concatenate([self._state[:, None], pushed], axis=1)
        for power in range(whole.bit_length()):
            if power == len(self._carried):
                self._carried.append(self._carried[-1] @ self._carried[-1])
            far = 1 << power
            states[:, far:] += np.tensordot(self._carried[power].astype(float), states[:, :-far], 1)
        before = states[:, :whole].reshape(order, -1)
        stretches = self._out[:, :order] @ before + self._out[:, order:] @ sound
        rest = np.vstack([states[:, whole], block[cut:]])
        count = rest.shape[0]
        self._state = self._through[count - order][:, :count] @ rest
        return np.concatenate(
            [
                stretches.reshape(STRETCH, whole, channels).swapaxes(0, 1).reshape(cut, channels),
                self._out[: count - order, :count] @ rest,
            ]
        )


def _one_frame(sections: Array, fed: Array) -> Array:
    """Output, then state, after one frame; `fed` holds the state before it, then the frame's sample."""
    sound = fed[-1]
    moved = []
    for index, (b0, b1, b2, _, a1, a2) in enumerate(sections):
        first, second = fed[2 * index : 2 * index + 2]
        out = b0 * sound + first
        moved += [second + b1 * sound - a1 * out, b2 * sound - a2 * out]
        sound = out
    return np.stack([sound, *moved])
