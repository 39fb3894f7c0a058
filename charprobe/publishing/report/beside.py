"""Files that lie beside a page and that it links to: tables to open in a spreadsheet, methods, claims."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePosixPath
from urllib.parse import quote


@dataclass(frozen=True)
class Beside:
    """A file below the page's own folder, and what is in it."""

    path: PurePosixPath
    holds: str

    def __post_init__(self) -> None:
        if self.path.is_absolute() or ".." in self.path.parts:
            raise ValueError(f"{self.path} does not lie below the page")

    @property
    def link(self) -> str:
        """The file's address from the page."""
        return "./" + quote(str(self.path))


def tables_beside(folder: str, what: str) -> list[Beside]:
    """Return the tables of a comparison that lie in a folder below the page; `what` is compared."""
    holds = {
        "values.csv": "every quantity with its interval",
        "differences.csv": "differences, margins and verdicts",
        "dictionary.csv": "units, definitions and reasons for the margins",
    }
    return [Beside(PurePosixPath(folder, name), f"{text}, {what}") for name, text in holds.items()]
