"""What a reader asks of two settings, topic by topic: one verdict each, the same wherever it is shown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from charprobe.comparing.comparison import Difference

DECIDED = ("different", "same", "none", "both none")


@dataclass(frozen=True)
class Topic:
    """A topic: its word, and the quantities and curves that speak to it, the weightiest first.

    Where `any_of`, one that differs decides; otherwise the first that is decided at all.
    """

    word: str
    names: tuple[str, ...]
    any_of: bool = False


TOPICS = (
    Topic(
        "colour",
        (
            "colour.thd_at_reference",
            "colour.h2_at_reference",
            "colour.h3_at_reference",
            "distortion",
            "colour.onset",
        ),
        any_of=True,
    ),
    Topic("curve", ("static curve, anchored", "static curve", "static.threshold")),
    Topic("gain", ("static.makeup_gain", "static.low_level_gain")),
    Topic("attack", ("attack.t63", "attack trace")),
    Topic("release", ("release.t63", "release trace")),
    Topic("response", ("response", "response.tilt"), any_of=True),
)


@dataclass(frozen=True)
class Judged:
    """What a pair says about a topic: its word, the verdict, and that in full and in short."""

    word: str
    verdict: str
    text: str
    short: str


def judged_pair(found: Mapping[str, Difference]) -> list[Judged]:
    """Judge every topic that was compared by the differences of one pair, by name."""
    told = []
    for topic in TOPICS:
        if items := [found[name] for name in topic.names if name in found]:
            one = _deciding(items, any_of=topic.any_of)
            told.append(Judged(topic.word, one.verdict, one.text, one.short))
    return told


def _deciding(items: Sequence[Difference], *, any_of: bool) -> Difference:
    if any_of:
        for verdict in ("different", "none"):
            for item in items:
                if item.verdict == verdict:
                    return item
    return next((item for item in items if item.verdict in DECIDED), items[0])
