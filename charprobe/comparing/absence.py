"""Where there is nothing to be known: a stage that reduces no gain has no attack, a clean one no colour."""

from __future__ import annotations

from collections.abc import Sequence

from charprobe.comparing.subjects import Subject, readings_of
from charprobe.profile import glossary
from charprobe.profile.entry import numbers
from charprobe.profile.profile import Profile
from charprobe.profile.told import Told
from charprobe.values.editors_digits import edited
from charprobe.values.quantity import Quantity, Unmeasured

LEAST_REDUCTION_DB = 0.5  # largest settled reduction below which a stage is said to reduce none
OF_REDUCTION = ("attack", "release")
STATIC_OF_REDUCTION = frozenset(
    {"static.threshold", "static.threshold_1db", "static.slope", "static.ratio", "static.knee_width"}
)
AT_MOST, AT_LEAST = "at most", "at least"
ABSENT_WHERE = {
    "static.max_reduction": AT_MOST,
    "attack.lookahead": AT_MOST,
    "attack.overshoot": AT_MOST,
    "release.hold": AT_MOST,
    "colour.input_at_thd_minus60db": AT_LEAST,
    "colour.input_at_thd_minus40db": AT_LEAST,
    "colour.onset": AT_LEAST,
    "response.low_corner": AT_MOST,
    "response.high_corner": AT_LEAST,
}
"""Quantities of which a bound on this side says that there is none in the range looked at.

Of any harmonic it is a bound above. On the other side a bound says that it was there all along.
"""
TRACES = ("attack trace", "release trace")
DISTORTION = ("distortion", "bass distortion", "treble distortion")
NO_REDUCTION = "it reduces no gain"


def absence(name: str, subject: Subject) -> str:
    """Return why a subject has no such quantity or curve at all; "" where it has, or that is not known."""
    rests = name in TRACES or name in STATIC_OF_REDUCTION or name.startswith(OF_REDUCTION)
    none = rests and all(reduces(profile) is False for profile in subject.repeats)
    return NO_REDUCTION if none else ""


def below_limit(name: str, subject: Subject) -> str:
    """Return the limit of what was looked for and not found; "" where it was found, or not looked for.

    Of a subject alone it does not say that there is none; two of them have none that anybody could see.
    """
    if name in DISTORTION:
        return "no distortion above the limit" if all(map(_clean, subject.repeats)) else ""
    if name not in glossary.TERMS:
        return ""
    side = AT_MOST if glossary.term(name).unit == "dBc" else ABSENT_WHERE.get(name)
    found = readings_of(name, subject)
    bounds = [
        one.at_most if side == AT_MOST else one.at_least for one in found if isinstance(one, Unmeasured)
    ]
    if found and side and len(bounds) == len(found) and None not in bounds:
        return edited(found[0]).number
    return ""


def reduces(profile: Profile) -> bool | None:
    """Tell whether a stage reduces gain; None where that was not measured."""
    if any(profile.measured(f"{edge}.t63") is not None for edge in OF_REDUCTION):
        return True
    slope, opens = profile.measured("static.slope"), profile.told(Told.RISES)
    if opens and slope is not None and slope.high < 1:
        return True  # no gain may lie below that of a gate which is closed at low levels
    reading = profile.reading("static.max_reduction")
    if isinstance(reading, Quantity):
        return reading.high > LEAST_REDUCTION_DB
    if isinstance(reading, Unmeasured) and reading.at_most is not None:
        return reading.at_most > LEAST_REDUCTION_DB
    return None


def absent_text(labels: Sequence[str], whys: Sequence[str]) -> str:
    """Say which of two sides has none, and why; `whys` are "" for a side that has one."""
    if all(whys):
        return f"both none ({whys[0]})" if whys[0] == whys[1] else f"both none ({whys[0]}, {whys[1]})"
    return next(f"none in {label} ({why})" for label, why in zip(labels, whys, strict=True) if why)


def _clean(profile: Profile) -> bool:
    table = profile.curves.get("harmonics")
    if table is None or not table.columns.get("thd_dbc"):
        return False
    return not any(cell is not None for cell in table.columns["thd_dbc"]) and bool(
        numbers(table, "limit_dbc").size
    )
