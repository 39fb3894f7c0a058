"""What the linear part of a stage makes of harmonics that arise in front of it, or behind it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from charprobe.values.arrays import Array, Complex

Place = Literal["nowhere", "behind", "ahead"]

FLAT = 0.02  # factors that differ from 1 by no more than this change nothing


@dataclass(frozen=True)
class Passage:
    """The shape of the linear response of a stage over the bypass, at rest.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        Ascending.
    magnitude_db, phase_rad : ndarray, shape (n,)
        Phase unwrapped; a delay in it does no harm.
    """

    frequency_hz: Array
    magnitude_db: Array
    phase_rad: Array

    def gain(self, frequency_hz: Array) -> Complex:
        """Complex gain, interpolated over log frequency; beyond the ends that of the ends."""
        at, known = np.log(frequency_hz), np.log(self.frequency_hz)
        size = 10 ** (np.interp(at, known, self.magnitude_db) / 20)
        return np.asarray(size * np.exp(1j * np.interp(at, known, self.phase_rad)))


@dataclass(frozen=True)
class PassageAt:
    """A passage at one place: `behind` or `ahead` of what makes the harmonics, or `nowhere`."""

    place: Place
    passage: Passage | None

    def factor(self, order: int, frequency_hz: Array) -> Complex:
        """Factor on the ratio of a harmonic to its fundamental, angle re order times the fundamental's.

        A filter behind passes the harmonic at its own frequency. One ahead changes the drive: a small
        harmonic over its fundamental goes with the power ``order - 1`` of it.
        """
        frequency_hz = np.asarray(frequency_hz, dtype=float)
        if self.passage is None or self.place == "nowhere":
            return np.ones(frequency_hz.shape, complex)
        own = self.passage.gain(frequency_hz)
        if self.place == "ahead":
            return np.asarray(np.abs(own) ** (order - 1) + 0j)
        turned = np.exp(-1j * order * np.angle(own))
        return np.asarray(self.passage.gain(order * frequency_hz) / np.abs(own) * turned)

    def ripple_factor(self, order: int, frequency_hz: Array) -> Complex:
        """The same for the harmonics that ripple of the gain makes: a filter ahead does not change them."""
        place: Place = "behind" if self.place == "behind" else "nowhere"
        return PassageAt(place, self.passage).factor(order, frequency_hz)


def places(passage: Passage | None, frequencies_hz: Array) -> tuple[PassageAt, ...]:
    """Return where the linear part may stand, so far as it makes a difference at these frequencies."""
    out = [PassageAt("nowhere", None)]
    for place in ("behind", "ahead") if passage is not None else ():
        placed = PassageAt(place, passage)
        moved = max(float(np.max(np.abs(placed.factor(n, frequencies_hz) - 1))) for n in (2, 3))
        if moved > FLAT:
            out.append(placed)
    return tuple(out)
