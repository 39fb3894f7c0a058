"""How numbers, times and the user's own text are worded for people: digits, intervals, odd characters."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from charprobe.values.quantity import Quantity, Reading

FINEST = {"s": 7, "dB/dB": 4, "Hz": 2, "samples": 3}  # decimals beyond which nothing is worth printing
FINEST_OTHER = 3  # 0.001 dB: even gear left alone moves by about as much
SKEWED = 1.25  # an interval whose longer half is this many times the shorter is printed end by end


@dataclass(frozen=True)
class Readable:
    """A reading in words: "−22.00", "± 0.01" or "(3.1 to 5.2)", "dBFS".

    `value` is "–" where there is none, and starts with "≥ " or "≤ " where only a bound is known.
    """

    value: str
    spread: str
    unit: str

    @property
    def text(self) -> str:
        """All three parts in one line, such as "4.00:1 (3.97 to 4.03)"."""
        joint = "" if self.unit == ":1" else " "
        tail = f"{joint}{self.unit}" if self.unit else ""
        if self.spread.startswith("±"):
            return f"{self.value} {self.spread}{tail}"
        return f"{self.value}{tail} {self.spread}".rstrip()


def readable(reading: Reading) -> Readable:
    """Word a reading for people: as many digits as its interval bears, times in ms below one second.

    Examples
    --------
    >>> readable(Quantity.from_std(-22.0, 0.02, "dBFS")).text
    '−22.00 ± 0.04 dBFS'
    >>> readable(Quantity(0.0051, 0.0050, 0.0053, "s")).text
    '5.10 ms (5.00 to 5.30)'
    """
    if isinstance(reading, Quantity):
        scale, unit = display_unit(reading.unit, reading.value)
        value, low, high = (number * scale for number in (reading.value, reading.low, reading.high))
        if low == high:
            return Readable(rounded_text(value, 6), "", unit)
        decimals = _decimals((high - low) / 2, reading.unit, scale)
        return Readable(number_text(value, decimals), _spread(value, low, high, decimals, unit), unit)
    bound = reading.at_least if reading.at_least is not None else reading.at_most
    if bound is None:
        return Readable("–", "", "")
    scale, unit = display_unit(reading.unit, bound)
    sign = "≥" if reading.at_least is not None else "≤"
    finest = 10.0 ** -(FINEST.get(reading.unit, FINEST_OTHER) - round(math.log10(scale)))
    size = finest if sign == "≤" and 0 < bound * scale < finest else bound * scale
    return Readable(f"{sign} {rounded_text(size)}", "", unit)


def display_unit(unit: str, size: float) -> tuple[float, str]:
    """Return the factor and unit in which a number of about `size` in `unit` is shown to people."""
    if unit == "s" and abs(size) < 1:
        return 1e3, "ms"
    if unit == "Hz" and abs(size) >= 10_000:
        return 1e-3, "kHz"
    return 1.0, "" if unit == "1" else unit


def number_text(value: float, decimals: int) -> str:
    """Return a number with so many decimals and a real minus sign; never "−0.00".

    Examples
    --------
    >>> number_text(-0.001, 2), number_text(-3.25, 1)
    ('0.00', '−3.2')
    """
    text = f"{value:.{decimals}f}"
    if not text.strip("-0."):
        text = text.lstrip("-")
    return text.replace("-", "−")


def under_text(level_db: float) -> str:
    """Say how far an error lies below the sound, or above it.

    Examples
    --------
    >>> under_text(-31.4), under_text(2.0)
    ('31 dB below the sound', '2 dB above the sound')
    """
    return f"{number_text(abs(level_db), 0)} dB {'below' if level_db < 0 else 'above'} the sound"


def signed_text(value: float, decimals: int) -> str:
    """Return a number with its sign, plus or minus, and so many decimals.

    Examples
    --------
    >>> signed_text(1.25, 1), signed_text(-1.2, 2), signed_text(0.0, 1)
    ('+1.2', '−1.20', '+0.0')
    """
    text = number_text(value, decimals)
    return text if text.startswith("−") else f"+{text}"


def rounded_text(value: float, digits: int = 3) -> str:
    """Return a number to so many significant digits, without exponent and trailing zeros.

    Examples
    --------
    >>> rounded_text(0.10004), rounded_text(-1234.5), rounded_text(20.0)
    ('0.1', '−1230', '20')
    """
    shown = float(f"{value:.{digits}g}")
    decimals = 0 if shown == 0 else max(0, digits - 1 - math.floor(math.log10(abs(shown))))
    text = number_text(shown, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def counted(number: int, noun: str) -> str:
    """Return a number of things in words: "1 channel", "2 channels"."""
    return f"{number} {noun}" + ("" if number == 1 else "s")


def joined(words: Sequence[str]) -> str:
    """Return words as a list in a sentence: "a", "a and b", "a, b and c"."""
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else words[0]


def time_text(seconds: float) -> str:
    """Return a place in a capture as minutes and seconds, such as "01:12.5"."""
    minutes, rest = divmod(round(seconds, 1), 60)
    return f"{minutes:02.0f}:{rest:04.1f}"


def clock_text(seconds: float) -> str:
    """Write a time from the start of a capture as h:mm:ss.mmm.

    Examples
    --------
    >>> clock_text(48.2134)
    '0:00:48.213'
    >>> clock_text(3725.9996)
    '1:02:06.000'
    """
    total_ms = round(seconds * 1000)
    minutes, ms = divmod(total_ms, 60_000)
    return f"{minutes // 60}:{minutes % 60:02d}:{ms // 1000:02d}.{ms % 1000:03d}"


def literal(text: str) -> str:
    r"""Return the user's own text for one line of output: literally, with what would not print made visible.

    Line breaks become "↵"; other control, formatting and unassigned characters their code.

    Examples
    --------
    >>> print(literal("a\nb\x1b[31m"))
    a↵b\x1b[31m
    """
    text = text.replace("\r\n", "↵").replace("\n", "↵").replace("\r", "↵").replace("\t", " ")
    return "".join(_visible(character) for character in text)


def _visible(character: str) -> str:
    if unicodedata.category(character) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"):
        return (
            character.encode("ascii", "backslashreplace").decode()
            if character > "~"
            else f"\\x{ord(character):02x}"
        )
    return character


def shortened(text: str, width: int) -> str:
    """Return at most `width` characters of a text, the cut marked by "…"."""
    return text if len(text) <= width else text[: width - 1].rstrip() + "…"


def _decimals(reach: float, unit: str, scale: float) -> int:
    finest = FINEST.get(unit, FINEST_OTHER) - round(math.log10(scale))
    first = math.floor(math.log10(reach))
    keep = 1 if reach / 10**first < 3 else 0  # a second digit where the first is 1 or 2
    return max(0, min(finest, keep - first))


def _spread(value: float, low: float, high: float, decimals: int, unit: str) -> str:
    longer, shorter = max(high - value, value - low), min(high - value, value - low)
    if unit == ":1" or longer > SKEWED * shorter:
        return f"({number_text(low, decimals)} to {number_text(high, decimals)})"
    reach = math.ceil(longer * 10**decimals - 1e-6) / 10**decimals  # never printed smaller than it is
    return f"± {number_text(reach, decimals)}"
