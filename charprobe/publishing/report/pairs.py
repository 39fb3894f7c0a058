"""Who is like whom: every pair of settings, topic by topic."""

from __future__ import annotations

from dataclasses import dataclass

from charprobe.comparing.comparison import Comparison, Difference
from charprobe.comparing.topics import Judged, judged_pair

SIGNS = {"same": "=", "different": "≠", "none": "≠", "both none": "–", "cannot tell": "?"}
MOST_MATRIX = 12  # settings; beyond, a table of pairs is no longer looked at


@dataclass(frozen=True)
class Pairs:
    """The table of pairs: names of the columns; of every row the name, and what its pairs say."""

    columns: list[str]
    rows: list[tuple[str, list[list[Judged]]]]


def pairs_of(comparison: Comparison) -> Pairs | None:
    """Return the table of pairs; None where there are more than `MOST_MATRIX` settings."""
    labels = [subject.label for subject in comparison.subjects]
    if len(labels) > MOST_MATRIX:
        return None
    found = by_pair(comparison)
    others = range(1, len(labels))
    rows = [
        (label, [judged_pair(found.get((first, second), {})) for second in others])
        for first, label in enumerate(labels[:-1])
    ]
    return Pairs(labels[1:], rows)


def by_pair(comparison: Comparison) -> dict[tuple[int, int], dict[str, Difference]]:
    """Return the differences of every pair of subjects by name."""
    found: dict[tuple[int, int], dict[str, Difference]] = {}
    for one in comparison.differences:
        found.setdefault((one.first, one.second), {})[one.name] = one
    return found
