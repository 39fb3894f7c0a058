"""Names of quantities that tell their meaning on hover, tap or Enter."""

from __future__ import annotations

from collections.abc import Iterable

from charprobe.profile import glossary
from charprobe.publishing.report.markup import Html, element, joined


def term_button(name: str) -> Html:
    """Return the title of a quantity as a button that opens its box; the page needs `definitions`."""
    term = glossary.term(name)
    return element(
        "button",
        term.title,
        class_="term",
        type="button",
        popovertarget=_anchor(name),
        title=term.definition,
    )


def definitions(names: Iterable[str]) -> Html:
    """Return one hidden box per quantity with its definition, for `term_button` to open."""
    boxes = []
    for name in names:
        term = glossary.term(name)
        unit = f" ({term.unit})" if term.unit not in ("", "1") else ""
        inside = (element("strong", term.title + unit), element("p", term.definition), element("code", name))
        boxes.append(element("div", *inside, id_=_anchor(name), popover="auto", class_="definition"))
    return joined(boxes)


def definition_list(names: Iterable[str]) -> Html:
    """Return all definitions as a list, for print and for reading through."""
    rows = [
        joined([element("dt", glossary.term(name).title), element("dd", glossary.term(name).definition)])
        for name in names
    ]
    return element("dl", *rows)


def _anchor(name: str) -> str:
    return "term-" + name.replace(".", "-").replace("_", "-")
