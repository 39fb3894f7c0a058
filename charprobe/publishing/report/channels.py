"""Channels of every setting in one table: who stands out from the others, and in what."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from charprobe.comparing.comparison import Comparison
from charprobe.comparing.topics import judged_pair
from charprobe.publishing.report.pairs import by_pair


@dataclass(frozen=True)
class ChannelCell:
    """What a channel of a setting says beside the others: topics in which it stands out, else "" or "?"."""

    words: str
    text: str


@dataclass(frozen=True)
class ChannelTable:
    """Channels from left to right, settings from top to bottom; None where a setting lacks a channel."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[ChannelCell | None, ...]], ...]

    def differ(self, setting: str) -> bool:
        """Tell whether some channel of a setting is known to be unlike the others."""
        return any(
            cell is not None and cell.words not in ("", "?")
            for name, cells in self.rows
            if name == setting
            for cell in cells
        )


def channel_table(comparisons: Sequence[tuple[str, Comparison]]) -> ChannelTable:
    """Return the table of the channels of some settings."""
    own = [(name, _cells(comparison)) for name, comparison in comparisons]
    columns = sorted({label for _, cells in own for label in cells}, key=_number)
    rows = tuple((name, tuple(cells.get(label) for label in columns)) for name, cells in own)
    return ChannelTable(tuple(columns), rows)


def _cells(comparison: Comparison) -> dict[str, ChannelCell]:
    """Say of every channel in which topics it differs from more than half of the others."""
    labels = [subject.label for subject in comparison.subjects]
    apart: list[Counter[str]] = [Counter() for _ in labels]
    texts: list[dict[str, str]] = [{} for _ in labels]
    unknown = [0] * len(labels)
    for (first, second), pair in by_pair(comparison).items():
        for one in judged_pair(pair):
            for side, other in ((first, second), (second, first)):
                if one.verdict in ("different", "none"):
                    apart[side][one.word] += 1
                    texts[side].setdefault(one.word, f"{one.word}: {one.text}, {labels[other]} beside it")
                unknown[side] += one.verdict == "cannot tell"
    cells = {}
    for index, label in enumerate(labels):
        most = (len(labels) - 1) / 2
        out = [word for word, count in apart[index].items() if count > most or len(labels) == 2]
        words = ", ".join(out) or ("?" if unknown[index] else "")
        cells[label] = ChannelCell(words, "; ".join(texts[index][word] for word in out))
    return cells


def _number(label: str) -> tuple[int, str]:
    digits = "".join(character for character in label if character.isdigit())
    return (int(digits) if digits else 0, label)
