"""The first screen of the page: all settings at a glance, and who is like whom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from charprobe.comparing.comparison import Comparison, Difference
from charprobe.comparing.topics import TOPICS, Judged, judged
from charprobe.profile.profile import Profile

GLANCE = (
    "static.threshold",
    "static.ratio",
    "static.knee_width",
    "static.makeup_gain",
    "attack.t63",
    "release.t63",
    "release.t90",
    "colour.thd_at_reference",
    "noise.a_weighted",
)
"""Quantities of the overview, left to right; those that no setting has are left out."""

SIGNS = {"same": "=", "different": "≠", "none": "≠", "both none": "–", "cannot tell": "?"}
MOST_MATRIX = 12  # settings; beyond, a table of pairs is no longer looked at


@dataclass(frozen=True)
class Glance:
    """Columns of the overview: whether there are pictures, and the quantities that some setting has."""

    pictures: bool
    names: tuple[str, ...]


@dataclass(frozen=True)
class Pairs:
    """The table of pairs: names of the columns; of every row the name, and what its pairs say."""

    columns: list[str]
    rows: list[tuple[str, list[list[Judged]]]]


def glance_of(profiles: Sequence[Profile]) -> Glance:
    """Return the columns of the overview."""
    names = tuple(name for name in GLANCE if any(name in profile.quantities for profile in profiles))
    return Glance(any("static" in profile.curves for profile in profiles), names)


def pairs_of(comparison: Comparison) -> Pairs | None:
    """Return the table of pairs; None where there are more than `MOST_MATRIX` settings."""
    labels = [subject.label for subject in comparison.subjects]
    if len(labels) > MOST_MATRIX:
        return None
    found: dict[tuple[int, int], dict[str, Difference]] = {}
    for one in comparison.differences:
        found.setdefault((one.first, one.second), {})[one.name] = one

    def of_pair(first: int, second: int) -> list[Judged]:
        pair = found.get((first, second), {})
        return [one for topic in TOPICS if (one := judged(topic, pair)) is not None]

    others = range(1, len(labels))
    rows = [(label, [of_pair(first, second) for second in others]) for first, label in enumerate(labels[:-1])]
    return Pairs(labels[1:], rows)
