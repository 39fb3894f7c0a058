"""A row of the glossary: everything that is said of one quantity, in one place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Margin:
    """Largest difference that does not matter.

    `scale` "difference" takes `size` in the quantity's unit; "ratio" takes it as a factor above 1.
    """

    size: float
    scale: Literal["difference", "ratio"]
    reason: str


@dataclass(frozen=True)
class Goal:
    """Allowed error: the larger of `absolute` (in the quantity's unit) and `relative` times the truth.

    `samples` is added to the absolute part once per sampling period, for times.
    """

    absolute: float = 0.0
    relative: float = 0.0
    samples: float = 0.0

    def allowed(self, truth: float, *, rate_hz: float) -> float:
        """Allowed error at a true value."""
        return max(self.absolute, self.relative * abs(truth), self.samples / rate_hz)


@dataclass(frozen=True)
class Term:
    """A published name and all that is settled about it.

    Attributes
    ----------
    title : str
        Short title.
    unit : str
        Unit of its readings, "1" for a plain number.
    definition : str
        One sentence.
    margin : Margin or None
        How two of them are compared, and the largest difference that does not matter; None: they are not.
    through : str
        The quantity in whose place it is not compared, for both tell the same.
    goal : Goal or None
        How far a reading may be off on simulated devices; None where no closed form is known.
    on_input_axis : bool
        Whether it is a level on the input axis, for which dBu may be given beside dBFS.
    """

    title: str
    unit: str
    definition: str
    margin: Margin | None = None
    through: str = ""
    goal: Goal | None = None
    on_input_axis: bool = False


def difference(size: float, reason: str) -> Margin:
    """Return a margin in the quantity's own unit, or in dB between two levels."""
    return Margin(size, "difference", reason)


def ratio(factor: float, reason: str) -> Margin:
    """Return a margin as a factor above 1."""
    return Margin(factor, "ratio", reason)


GAIN = difference(0.1, "0.1 dB is the usual care when levels are matched by hand")
HARMONIC = difference(1.0, "1 dB of a harmonic moves with a 1 dB change of drive or less")
TRACE = difference(0.5, "0.5 dB for some milliseconds is hardly heard")
SHARE = difference(10.0, "10 % of a share is about what neighbouring fits trade between stages")
