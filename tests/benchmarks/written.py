"""Put the outcome of a bench into its page of ``docs/accuracy/``, section by section."""

from __future__ import annotations

import re
from pathlib import Path

FOLDER = Path(__file__).parents[2] / "docs" / "accuracy"


def write_section(topic: str, heading: str, command: str, text: str) -> None:
    """Replace, or add, a second-level section of the page on a topic; the rest of the page stays as it is."""
    path = FOLDER / f"{topic}.md"
    page = path.read_text(encoding="utf-8") if path.exists() else f"# Accuracy: {topic}\n"
    section = f"## {heading}\n\nMade by `{command}`.\n\n{text}\n"
    parts = re.split(r"(?m)^(?=## )", page)
    kept = [part for part in parts if not part.startswith(f"## {heading}\n")]
    where = next((i for i, part in enumerate(parts) if part.startswith(f"## {heading}\n")), len(kept))
    kept.insert(where, section)
    path.write_text("\n\n".join(part.strip("\n") for part in kept) + "\n", encoding="utf-8")
