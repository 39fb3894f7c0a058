"""Numbers as an editor prints them: few digits, never finer than the interval bears."""

from __future__ import annotations

import math
from dataclasses import dataclass

from charprobe.values.quantity import Quantity, Reading
from charprobe.values.wording import SKEWED, number_text
from charprobe.values.wording import display_unit as full_unit

TENTHS = frozenset({"dB", "dBFS", "dBc", "dBu", "dB/decade", "samples", "LU", "LUFS"})
HUNDREDTHS = frozenset({"dB/dB"})
FEWEST_DIGITS = 2  # of times, frequencies, ratios and shares; three where the first is a 1 or a 2
THIRD_DIGIT_BELOW = 3.0
STEEPEST = 100.0  # a ratio of at least so much is told no further
FINEST_MS = 2  # decimals of a time in ms


@dataclass(frozen=True)
class Edited:
    """A reading for print: "4.0", "± 0.1", "ms"; `sign` is "≥ " or "≤ " of a bound, "" of a number."""

    sign: str
    value: str
    spread: str
    unit: str

    @property
    def number(self) -> str:
        """Value and unit, such as "−26.0 dBFS" or "3.0:1"; "–" where there is no number."""
        joint = "" if self.unit in ("", ":1") else " "
        return f"{self.sign}{self.value}{joint}{self.unit}"

    @property
    def text(self) -> str:
        """The same with its interval."""
        return f"{self.number} {self.spread}".rstrip()


def edited(reading: Reading) -> Edited:
    """Word a reading for print.

    Levels and gains have a tenth of a dB, times, frequencies and ratios two or three digits; fewer where the
    interval bears fewer. The interval printed holds all of the measured one around the number printed.

    Examples
    --------
    >>> edited(Quantity(-21.987, -22.0, -21.97, "dBFS")).text
    '−22.0 dBFS ± 0.1'
    >>> edited(Quantity(0.0041712, 0.0041, 0.0043, "s")).text
    '4.2 ms ± 0.1'
    >>> edited(Quantity(3.0123, 2.99, 3.03, ":1")).number
    '3.0:1'
    >>> edited(Quantity(-21.9, -25.0, -19.0, "dBFS")).number
    '−22 dBFS'
    """
    if isinstance(reading, Quantity):
        scale, unit = display_unit(reading.unit, reading.value)
        low, high, places = reading.low * scale, reading.high * scale, _places(reading)
        middle = round(reading.value * scale, places)
        return Edited("", number_text(middle, max(0, places)), spread_text(middle, low, high, places), unit)
    ends = [end for end in (reading.at_least, reading.at_most) if end is not None]
    if not ends:
        return Edited("", "–", "", "")
    if reading.unit == ":1":
        ends = [min(end, STEEPEST) for end in ends]
    scale, unit = display_unit(reading.unit, ends[0])
    places = _usual(ends[0] * scale, reading.unit)
    down = reading.at_least is not None  # rounded to the side on which the bound still holds
    shown = [_outward(ends[0] * scale, places, down=down)]
    if len(ends) > 1:
        shown.append(_outward(ends[1] * scale, places, down=False))
    text = " to ".join(number_text(end, max(0, places)) for end in shown)
    return Edited("" if len(ends) > 1 else "≥ " if down else "≤ ", text, "", unit)


def printed(quantity: Quantity) -> float:
    """The number that `edited` prints, in the quantity's own unit: words beside it are chosen by it."""
    scale, _ = display_unit(quantity.unit, quantity.value)
    return round(quantity.value * scale, _places(quantity)) / scale


def _places(quantity: Quantity) -> int:
    """Decimals of a quantity in the unit that it is displayed in."""
    scale, _ = display_unit(quantity.unit, quantity.value)
    half = (quantity.high - quantity.low) * scale / 2
    return min(_usual(quantity.value * scale, quantity.unit), places_borne(half))


def _outward(number: float, places: int, *, down: bool) -> float:
    steps = number * 10.0**places
    return 10.0**-places * (math.floor(steps + 1e-9) if down else math.ceil(steps - 1e-9))


def display_unit(unit: str, size: float) -> tuple[float, str]:
    """Return the factor and unit in which a number of about `size` is printed: kHz from 1 kHz on."""
    return (1e-3, "kHz") if unit == "Hz" and abs(size) >= 1000 else full_unit(unit, size)


def edited_number(value: float, unit: str) -> str:
    """Word a plain number in a unit for print, as `edited` words one with a narrow interval."""
    return edited(Quantity(value, value, value, unit)).number


def _usual(value: float, unit: str) -> int:
    """Decimals an editor gives a number of this size in this unit; negative for tens and more."""
    if unit in TENTHS:
        return 1
    if unit in HUNDREDTHS:
        return 2
    if value == 0:
        return 0
    size = math.floor(math.log10(float(f"{abs(value):.{FEWEST_DIGITS - 1}e}")))
    first = abs(value) / 10.0**size
    digits = FEWEST_DIGITS + (first < THIRD_DIGIT_BELOW and size > 0)
    return min(FINEST_MS, digits - 1 - size)


def places_borne(reach: float) -> int:
    """Decimals beyond which a number with an interval of ± `reach` is not printed; ± 1.4 bears one more."""
    return 9 if reach <= 0 else -math.floor(math.log10(reach / 2))


def spread_text(shown: float, low: float, high: float, places: int) -> str:
    """Word an interval around a printed number, rounded outward; "" where it has no width."""
    if low == high:
        return ""
    step = 10.0**-places
    longer, shorter = max(high - shown, shown - low), min(high - shown, shown - low)
    if longer > step and longer > SKEWED * max(shorter, step):
        ends = (step * math.floor(low / step + 1e-9), step * math.ceil(high / step - 1e-9))
        return f"({number_text(ends[0], max(0, places))} to {number_text(ends[1], max(0, places))})"
    return f"± {number_text(step * max(1, math.ceil(longer / step - 1e-9)), max(0, places))}"
