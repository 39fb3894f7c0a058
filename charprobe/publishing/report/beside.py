"""Links from a page to the files that lie beside it: tables to open in a spreadsheet, methods, claims."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from urllib.parse import quote

from charprobe.publishing.report.markup import EMPTY, Html, element, joined


@dataclass(frozen=True)
class Beside:
    """A file below the page's own folder, and what is in it."""

    path: PurePosixPath
    holds: str

    def __post_init__(self) -> None:
        if self.path.is_absolute() or ".." in self.path.parts:
            raise ValueError(f"{self.path} does not lie below the page")


def tables_beside(folder: str, what: str) -> list[Beside]:
    """Return the tables of a comparison that lie in a folder below the page; `what` is compared."""
    holds = {
        "values.csv": "every quantity with its interval",
        "differences.csv": "differences, margins and verdicts",
        "dictionary.csv": "units, definitions and reasons for the margins",
    }
    return [Beside(PurePosixPath(folder, name), f"{text}, {what}") for name, text in holds.items()]


def links_to(files: Sequence[Beside]) -> Html:
    """Return a list of links, each with what the file holds; nothing without files."""
    if not files:
        return EMPTY
    items = [
        element("li", element("a", str(one.path), href="./" + quote(str(one.path))), f": {one.holds}")
        for one in files
    ]
    return joined(
        [element("p", "They lie in the folder of this page."), element("ul", *items, class_="files")]
    )
