"""One tone of a ladder of harmonics: which of them are the setting's own, and what its gain does."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from charprobe.estimators.colour.harmonic_cell import HarmonicCell
from charprobe.values.arrays import Array, Complex
from charprobe.values.quantity import ORDER_SEEN, Quantity

ODD = (3, 5, 7, 9)
EXCEEDS = 3.0  # joint standard uncertainties by which a harmonic must exceed the bypass; nine are asked
NEAR_RIG = 2.0  # amplitude ratio to the bypass (6 dB) below which a harmonic may be the rig's own
REDUCING_DB = 0.1  # from here on a rung counts as under gain reduction
OPENING = 0.05  # dB per dB by which a gain must rise with the level to count as that of an expander
STEEP = 0.003  # dB per dB from which a gain above its low-level one, an expander's, follows the level
SATURATION = 2.0  # times what x**3, x**5, ... of the harmonics seen take off the fundamental

Origin = Literal["none", "colour", "ripple", "either"]
"""What harmonics beyond the bypass come from; "either" where colour cannot be told from ripple."""


@dataclass(frozen=True)
class LevelRung:
    """One level of a ladder at one frequency.

    Attributes
    ----------
    input_dbfs : float
        Level on the input axis.
    reduction_db : float or None
        Gain reduction at that level, positive; None where it is not known.
    cell : HarmonicCell
        Harmonics of the setting.
    rig : HarmonicCell or None
        Harmonics of the bypass for the same tone.
    colour : ndarray of complex or None
        Ratios as in `HarmonicCell.ratios` with the part that ripple of the gain explains taken out; None
        where nothing was taken out.
    colour_stds : ndarray or None
        Their standard uncertainties.
    fall_db : float or None
        How far the gain lies below the highest gain of quieter tones of the same frequency; None without any.
    steepness : float
        How many dB the settled gain rises by with each dB of level there; 0 where that is not known.
    follows : bool
        Whether tones of that level and another frequency lose gain that their harmonics do not account for.
    at_rest : bool
        Whether the tone lies so far from any gain that follows the level that its harmonics cannot be ripple.
    origin : Origin
        What they come from.
    """

    input_dbfs: float
    reduction_db: float | None
    cell: HarmonicCell
    rig: HarmonicCell | None
    colour: Complex | None = None
    colour_stds: Array | None = None
    fall_db: float | None = None
    steepness: float = 0.0
    follows: bool = False
    at_rest: bool = False
    origin: Origin = "none"

    @property
    def gain_db(self) -> float | None:
        """Gain of the fundamental; None where that is not told."""
        level = self.cell.fundamental
        return level.value - self.input_dbfs if isinstance(level, Quantity) else None

    @property
    def gain_std_db(self) -> float:
        """Standard uncertainty of `gain_db`; 0 where that is not told."""
        level = self.cell.fundamental
        return level.std if isinstance(level, Quantity) else 0.0

    @property
    def reduced_db(self) -> float | None:
        """Gain reduction in dB: of the level steps or, where that is more, from quieter tones on.

        A detector may hear the frequency of the tones and not that of the steps.
        """
        if self.reduction_db is None or self.fall_db is None:
            return self.fall_db if self.reduction_db is None else self.reduction_db
        return self.reduction_db if self.fall_db < REDUCING_DB else max(self.reduction_db, self.fall_db)

    @property
    def saturable_db(self) -> float:
        """What saturation itself may take off the fundamental, at most, by the odd harmonics it makes."""
        odd = [order for order in ODD if order <= self.cell.orders]
        loss = SATURATION * sum(order * float(abs(self.cell.ratios[order - 2])) for order in odd)
        return -20 * math.log10(max(1 - loss, 1e-3))

    @property
    def opening(self) -> bool:
        """Whether the gain rises with the level, as that of an expander does."""
        return self.steepness > OPENING or (self.reduction_db is not None and self.reduction_db < 0)

    @property
    def idle(self) -> bool:
        """Whether no gain reduction is known or seen beyond what saturation itself takes off the fundamental.

        A power of odd order n that makes a small harmonic n takes about n times as much off the fundamental.
        Nor may a gain that lies above the low-level one, as an expander's does, still follow the level.
        """
        if self.reduced_db is not None and self.reduced_db < -REDUCING_DB:
            return abs(self.steepness) < STEEP
        if self.reduction_db is None and self.opening:
            return False
        if self.reduced_db is None or self.reduced_db < REDUCING_DB:
            return True
        if self.opening:
            return False  # saturation takes more off what is louder
        if self.reduction_db is None and self.cell.orders < ODD[0]:
            return True  # nothing tells a fall of the gain from saturation
        return self.reduced_db < self.saturable_db and not self.follows

    def near_rig(self, order: int) -> bool:
        """Tell whether a detected harmonic lies within 6 dB of what the bypass shows, or can show."""
        if self.rig is None or not self.cell.detected(order) or order > self.rig.orders:
            return False
        rig = float(abs(self.rig.ratios[order - 2]))
        return bool(abs(self.cell.ratios[order - 2]) < NEAR_RIG * rig) if self.rig.detected(order) else False

    def shows(self, order: int, *, sigmas: float = ORDER_SEEN) -> bool:
        """Tell whether one order is there, whatever it comes from, and beyond the bypass by its interval."""
        return self._beyond_rig(order, self.cell.ratios, self.cell.stds, sigmas)

    def coloured(self, order: int) -> bool:
        """The same of what is left of the order once the part that goes as ripple does is taken out."""
        ratios = self.cell.ratios if self.colour is None else self.colour
        stds = self.cell.stds if self.colour_stds is None else self.colour_stds
        return self._beyond_rig(order, ratios, stds, ORDER_SEEN)

    def _beyond_rig(self, order: int, ratios: Complex, stds: Array, sigmas: float) -> bool:
        if order > self.cell.orders or not self.cell.told:
            return False
        at = order - 2
        size, std = float(abs(ratios[at])), float(stds[at])
        if size <= max(sigmas * std, 1e-12):
            return False
        if self.rig is None or order > self.rig.orders:
            return True
        return size - float(abs(self.rig.ratios[at])) > EXCEEDS * math.hypot(std, float(self.rig.stds[at]))
