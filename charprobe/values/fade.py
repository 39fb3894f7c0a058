"""Sound that begins and ends without a click."""

from __future__ import annotations

import numpy as np

from charprobe.values.arrays import Array


def faded_ends(count: int, edge: int) -> Array:
    """Return so many gains: 1, but for raised cosines over `edge` samples at either end."""
    gains = np.ones(count)
    gains[:edge] = np.sin(np.linspace(0, np.pi / 2, edge)) ** 2
    gains[count - edge :] = gains[:edge][::-1]
    return gains
