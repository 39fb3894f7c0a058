"""What TOML would cost is known from its text: depth and digits are counted before anything is parsed."""

from __future__ import annotations

import re

MOST_DIGITS = 400  # of one number; none that is allowed anywhere has more than 20

_STRING = (  # a string that nothing closes ends with its line or the text: each character is read once
    r'"""(?:[^"\\]|\\.|"(?!""))*+(?:""")?|"(?:[^"\\\n]|\\.)*+"?'
    r"|'''(?:[^']|'(?!''))*+(?:''')?|'[^'\n]*+'?"
)
_PART = rf"(?:{_STRING}|[A-Za-z0-9_-]+)"
_TOKEN = re.compile(
    rf"#[^\n]*|(?P<dotted>{_PART}(?:[ \t]*\.[ \t]*{_PART})*+)|(?P<open>[\[{{])|(?P<close>[\]}}])", re.DOTALL
)
_PARTS = re.compile(_PART, re.DOTALL)


def too_costly(text: str, *, most_depth: int) -> str:
    r"""Say what in a TOML text is nested too deep or has too many digits, and on which line; "" if nothing.

    Dotted keys and headers count a level for each part, lists and inline tables one for each bracket.

    Examples
    --------
    >>> too_costly("x = 1\na.b.c = 2", most_depth=2)
    'line 2: nested deeper than 2 levels'
    >>> too_costly("x = [1.5, 2.5] # [[[[", most_depth=2)
    ''
    """
    depth = 0
    for token in _TOKEN.finditer(text):
        depth += bool(token["open"]) - bool(token["close"])
        parts = 0
        if word := token["dotted"]:
            if len(word) > MOST_DIGITS and word.lstrip("+-")[:1].isdigit():
                return f"{_line(text, token.start())}: a number of {len(word)} digits; allowed: {MOST_DIGITS}"
            parts = sum(1 for _ in _PARTS.finditer(word)) if "." in word else 1
        # a header in two brackets is one level deep
        if parts > most_depth or depth > most_depth + 1:
            return f"{_line(text, token.start())}: nested deeper than {most_depth} levels"
    return ""


def _line(text: str, at: int) -> str:
    return f"line {text.count(chr(10), 0, at) + 1}"
