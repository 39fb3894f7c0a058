"""HTML from text: everything that is not markup is escaped, and every piece says which it is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

from charprobe.values.wording import literal


@dataclass(frozen=True)
class Html:
    """A piece of finished markup; plain strings are text and get escaped."""

    code: str


Part = Html | str
EMPTY = Html("")
ALONE = frozenset({"br", "hr", "meta"})


def element(tag: str, *parts: Part, **attributes: str | None) -> Html:
    """Return an element; a trailing underscore of an attribute's name is dropped, others become hyphens.

    Examples
    --------
    >>> element("p", "a < b", class_="note").code
    '<p class="note">a &lt; b</p>'
    """
    names = {name.rstrip("_").replace("_", "-"): value for name, value in attributes.items()}
    inside = "".join(f' {name}="{escape(literal(v))}"' for name, v in names.items() if v is not None)
    if tag in ALONE:
        return Html(f"<{tag}{inside}>")
    return Html(f"<{tag}{inside}>{joined(parts).code}</{tag}>")


def joined(parts: Iterable[Part], between: str = "") -> Html:
    """Return parts one after another."""
    return Html(between.join(as_code(part) for part in parts))


def as_code(part: Part) -> str:
    """Return the markup of a part: text escaped, with line breaks and control characters made visible."""
    return part.code if isinstance(part, Html) else escape(literal(part))
