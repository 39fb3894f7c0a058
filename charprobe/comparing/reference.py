"""Settings beside those of devices measured earlier: each with its nearest, whatever that is called."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from charprobe.comparing.compare import compare_subjects
from charprobe.comparing.comparison import Difference
from charprobe.comparing.curves import MARGINS
from charprobe.comparing.subjects import Subject, copies_in
from charprobe.comparing.topics import judged_pair
from charprobe.profile.glossary.row import Margin
from charprobe.profile.profile import Profile
from charprobe.profile.standing import standing
from charprobe.values.errors import ProfileError
from charprobe.values.wording import literal

PAIRED_BY = (
    "static curve, anchored",
    "attack.t63",
    "release.t63",
    "colour.thd_at_reference",
    "response",
)
"""What makes two settings near each other: curve and times, then colour and response."""
FARTHEST = 20.0  # margins apart, beyond which one thing makes nothing worse; so counts what only one side has


def beside_reference(
    own: Sequence[Profile],
    reference: Sequence[Profile],
    *,
    called: str,
    margins: Mapping[str, Margin] = MARGINS,
) -> tuple[str, ...]:
    """Say of every setting which of other devices is nearest, and how alike the two are: a sentence each.

    Settings are taken on their lowest channel, with all good takes; `called` is what the reference is called
    in the sentences, `margins` are the largest differences that do not matter. `ProfileError` if both hold
    one and the same recording.
    """
    double = copies_in([*own, *reference])
    if any(number >= len(own) > first for number, first in double):
        raise ProfileError(
            f"{called}: holds a recording that is also among the profiles to compare: a recording beside "
            "itself is the same whatever the device does. Leave one out"
        )
    others = _subjects(reference)
    found = []
    for subject in _subjects(own):
        pairs = [compare_subjects((subject, other), margins=margins, sets=len(others)) for other in others]
        tables = [{item.name: item for item in pair.differences} for pair in pairs]
        nearest = min(range(len(others)), key=lambda index: _apart(tables[index]))
        found.append(_sentence(subject.label, others[nearest].label, called, tables[nearest]))
    return tuple(found)


def _subjects(profiles: Sequence[Profile]) -> list[Subject]:
    good = standing(profiles)
    subjects = []
    for name in dict.fromkeys(profile.setting for profile in good):
        own = [profile for profile in good if profile.setting == name]
        channel = min(profile.channel for profile in own)
        subjects.append(
            Subject(literal(name), tuple(profile for profile in own if profile.channel == channel))
        )
    return subjects


def _apart(found: Mapping[str, Difference]) -> float:
    """How far two settings lie apart, in margins."""
    return sum(_margins(found[name]) for name in PAIRED_BY if name in found)


def _margins(item: Difference) -> float:
    if item.verdict in ("none", "both none"):
        return FARTHEST if item.verdict == "none" else 0.0
    if item.gap is None:
        return FARTHEST if item.least is not None else 1.0
    if item.margin.scale == "ratio":
        return min(FARTHEST, abs(math.log(item.gap.value)) / math.log(item.margin.size))
    return min(FARTHEST, abs(item.gap.value) / item.margin.size)


def _sentence(own: str, other: str, called: str, found: Mapping[str, Difference]) -> str:
    told = judged_pair(found)
    same = [one.word for one in told if one.verdict == "same"]
    neither = [one.word for one in told if one.verdict == "both none"]
    unlike = [f"{one.word} {one.short}" for one in told if one.verdict in ("different", "none")]
    only_one_reduces = any(one.verdict == "none" and one.word in ("attack", "release") for one in told)
    unknown = [one.word for one in told if one.verdict == "cannot tell"]
    parts = [f"the same in {', '.join(same)}"] if same else []
    parts += [f"different in {', '.join(unlike)} (the earlier one re this)"] if unlike else []
    parts += [f"neither has {', '.join(neither)}"] if neither else []
    parts += [f"not told: {', '.join(unknown)}"] if unknown else []
    which = f"nearest to {other} of {literal(called)}"
    if only_one_reduces:
        which = f"like none of {literal(called)}, {other} the nearest"
    return f"{own} is {which} (paired by curve and times): {'; '.join(parts)}."
