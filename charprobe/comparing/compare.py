"""Set profiles against each other: differences, what is the same, and what cannot be told."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from charprobe.comparing.absence import absence, absent_text, below_limit
from charprobe.comparing.comparison import Comparison, Difference, notes_on
from charprobe.comparing.curve import ComparedCurve, curve_gap, shared_span
from charprobe.comparing.curve_kinds import middle_tone, tones_of
from charprobe.comparing.curves import CURVES, MARGINS
from charprobe.comparing.equivalence import Estimate, Gap, combined, gap, repeat_variance
from charprobe.comparing.sentences import sentences_on
from charprobe.comparing.subjects import (
    Subject,
    measured_of,
    of_one_thing,
    readings_of,
    subjects_of,
    value_of,
)
from charprobe.profile import glossary
from charprobe.profile.glossary.row import Margin
from charprobe.profile.profile import Profile
from charprobe.values.quantity import Z95, Quantity, Unmeasured
from charprobe.values.wording import rounded_text

Sides = tuple[int, int]  # numbers of two subjects
BETWEEN = {"dBFS": "dB", "dBc": "dB"}  # unit of a quantity -> unit of a difference of two


def compare_profiles(profiles: Sequence[Profile], *, margins: Mapping[str, Margin] = MARGINS) -> Comparison:
    """Compare two or more profiles, pair by pair.

    Parameters
    ----------
    profiles : sequence of Profile
        At least two. Profiles of one setting and channel are repeats: they are averaged, and what moves
        between them widens the intervals.
    margins : mapping of str to Margin
        Quantity or curve -> largest difference that does not matter; what has no margin is not compared.

    Raises
    ------
    ProfileError
        If fewer than two profiles are given, or two are of one and the same recording.
    """
    return compare_subjects(subjects_of(profiles), margins=margins)


def compare_subjects(
    subjects: Sequence[Subject], *, margins: Mapping[str, Margin] = MARGINS, sets: int = 1
) -> Comparison:
    """Compare two subjects or more, each with its repeats, pair by pair; `margins` as in `compare_profiles`.

    `sets` is how many such comparisons share the risk of one wrong verdict.
    """
    profiles = [profile for subject in subjects for profile in subject.repeats]
    pairs = list(combinations(range(len(subjects)), 2))
    names = [name for name in glossary.TERMS if any(name in profile.quantities for profile in profiles)]
    compared = [name for name in names if name in margins]
    drawn = {name: [kind.drawn(subject) for subject in subjects] for name, kind in CURVES.items()}
    curves = {name: own for name, own in drawn.items() if name in margins and any(own)}
    tests = max(1, sets * len(pairs) * (len(compared) + len(curves)))
    differences = [
        *(
            item
            for name, own in curves.items()
            for item in _curve_differences(name, subjects, own, pairs, margins[name], tests)
        ),
        *(item for name in compared for item in _differences(name, subjects, pairs, margins[name], tests)),
    ]
    values = {name: tuple(value_of(name, subject) for subject in subjects) for name in names}
    return Comparison(
        subjects=tuple(subjects),
        values=values,
        differences=tuple(differences),
        sentences=sentences_on(
            [subject.label for subject in subjects],
            differences,
            values,
            tones=[
                f"{rounded_text(middle_tone(tones))} Hz"
                for profile in profiles
                if "harmonics" in profile.curves and (tones := tones_of(profile.curves["harmonics"]))
            ],
        ),
        notes=notes_on(repeated=any(len(subject.repeats) > 1 for subject in subjects), tests=tests),
    )


def _differences(
    name: str, subjects: Sequence[Subject], pairs: Sequence[Sides], margin: Margin, tests: int
) -> Iterator[Difference]:
    sets = [[_estimate(item, margin) for item in measured_of(name, subject)] for subject in subjects]
    usable = [[item for item in items if item is not None] for items in sets]
    variance, freedom = repeat_variance([[item.value for item in items] for items in usable])
    unit = BETWEEN.get(glossary.term(name).unit, glossary.term(name).unit)
    for first, second in pairs:
        found, reason, least, none = None, "", None, Nothing()
        missing = [index for index in (first, second) if not usable[index]]
        alike = of_one_thing(name, (*subjects[first].repeats, *subjects[second].repeats))
        if missing:
            least = _least(name, subjects[first], subjects[second], margin) if alike else None
            reason = "; ".join(f"{subjects[index].label}: {_why(name, subjects[index])}" for index in missing)
            has = [index not in missing for index in (first, second)]
            none = _none(name, (subjects[first], subjects[second]), has) if least is None else Nothing()
        elif not alike:
            reason = (
                "read with other bursts, up to another level or off another tone in one than in the other"
            )
        else:
            sides = [combined(usable[i], variance=variance, freedom=freedom) for i in (first, second)]
            size = math.log(margin.size) if margin.scale == "ratio" else margin.size
            found = gap(*sides, margin=size, tests=tests)
            if margin.scale == "ratio":
                found = Gap(math.exp(found.value), math.exp(found.low), math.exp(found.high), found.verdict)
        yield Difference(name, first, second, unit, margin, found, none.text or reason, least, none.sides)


def _estimate(quantity: Quantity, margin: Margin) -> Estimate | None:
    """Return the quantity on the scale of its margin; None where a ratio has no sense."""
    if margin.scale == "difference":
        return Estimate(quantity.value, quantity.std)
    if quantity.low <= 0:
        return None
    return Estimate(math.log(quantity.value), math.log(quantity.high / quantity.low) / (2 * Z95))


def _least(name: str, first: Subject, second: Subject, margin: Margin) -> float | None:
    """Return how far a number lies beyond the other side's bound; None if under twice the margin."""
    for one, other, sign in ((first, second, 1), (second, first, -1)):
        bounds = [item for item in readings_of(name, one) if isinstance(item, Unmeasured)]
        numbers = measured_of(name, other)
        if not bounds or not numbers or measured_of(name, one):
            continue
        highest = [item.at_most for item in bounds]
        lowest = [item.at_least for item in bounds]
        above = _beyond(min(item.low for item in numbers), highest, margin, 1)
        below = _beyond(max(item.high for item in numbers), lowest, margin, -1)
        found = above if above is not None else below
        if found is not None:
            return float(found**sign) if margin.scale == "ratio" else sign * found
    return None


def _beyond(end: float, bounds: Sequence[float | None], margin: Margin, side: int) -> float | None:
    """Return how far an end of an interval lies beyond all bounds, if by twice the margin."""
    known = [bound for bound in bounds if bound is not None]
    if len(known) < len(bounds) or not known:
        return None
    if margin.scale == "difference":
        far = end - (max(known) if side > 0 else min(known))
        return far if side * far > 2 * margin.size else None
    if min(known) <= 0 or end <= 0:
        return None
    factor = end / (max(known) if side > 0 else min(known))
    return factor if side * math.log(factor) > 2 * math.log(margin.size) else None


def _why(name: str, subject: Subject) -> str:
    for reading in readings_of(name, subject):
        if isinstance(reading, Unmeasured):
            return reading.reason
    return "its interval reaches zero" if measured_of(name, subject) else "not in its profile"


@dataclass(frozen=True)
class Nothing:
    """Which of two sides has no such thing at all, by number of the side, and that in words."""

    sides: int = 0
    text: str = ""


def _none(name: str, pair: tuple[Subject, Subject], has: Sequence[bool]) -> Nothing:
    """Say which side has none; nothing is said where a side may have one that is not known."""
    whys = ["" if there else absence(name, one) for one, there in zip(pair, has, strict=True)]
    if not any(has) and not all(whys):
        whys = [why or below_limit(name, one) for one, why in zip(pair, whys, strict=True)]
    if not all(there or why for there, why in zip(has, whys, strict=True)):
        return Nothing()
    return Nothing(sum(map(bool, whys)), absent_text([one.label for one in pair], whys))


def _curve_differences(
    name: str,
    subjects: Sequence[Subject],
    own: Sequence[ComparedCurve | None],
    pairs: Sequence[Sides],
    margin: Margin,
    tests: int,
) -> Iterator[Difference]:
    for first, second in pairs:
        a, b = own[first], own[second]
        found, none, span = None, Nothing(), None
        if a is not None and b is not None:
            found, span = curve_gap(a, b, margin=margin, tests=tests), shared_span(a, b)
        else:
            none = _none(name, (subjects[first], subjects[second]), [a is not None, b is not None])
        reason = "" if found else "too few points of it at places and under conditions that both have"
        yield Difference(
            name, first, second, "dB", margin, found, none.text or reason, None, none.sides, span
        )
