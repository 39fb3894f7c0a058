"""Whether printed text is what a document shows: words alike, numbers as near as their last digits say."""

import re

NUMBER = re.compile(r"(?<![\w.])[-−+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?")
LAST_DIGITS = 2  # machines differ in the last digit, and rounding may carry that into one more step


def near(shown, printed):
    """Compare two texts apart from spaces; a number may be off by two steps of the last digit shown."""
    shown, printed = " ".join(shown.split()), " ".join(printed.split())
    if NUMBER.sub("#", shown) != NUMBER.sub("#", printed):
        return False
    pairs = zip(NUMBER.findall(shown), NUMBER.findall(printed), strict=True)
    return all(abs(_value(one) - _value(other)) <= 1.001 * LAST_DIGITS * _step(one) for one, other in pairs)


def _value(text):
    return float(text.replace("−", "-"))


def _step(text):
    """The step of the last digit of a number with decimals; a whole number is exact."""
    digits, _, power = text.partition("e")
    decimals = len(digits.partition(".")[2])
    return 10.0 ** (int(power or 0) - decimals) if decimals else 0.0
