"""Put the outcome of a bench into a page, section by section."""

from __future__ import annotations

import re
from pathlib import Path

TITLE = "# Accuracy\n"


def write_section(path: Path, heading: str, command: str, text: str) -> None:
    """Replace, or add, the section under a second-level heading; the rest of the page stays as it is."""
    page = path.read_text(encoding="utf-8") if path.exists() else TITLE
    section = f"## {heading}\n\nMade by `{command}`.\n\n{text}\n"
    parts = re.split(r"(?m)^(?=## )", page)
    kept = [part for part in parts if not part.startswith(f"## {heading}\n")]
    where = next((i for i, part in enumerate(parts) if part.startswith(f"## {heading}\n")), len(kept))
    kept.insert(where, section)
    path.write_text("\n\n".join(part.strip("\n") for part in kept) + "\n", encoding="utf-8")
