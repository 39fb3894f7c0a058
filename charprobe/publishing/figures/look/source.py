"""What figures take from a profile: curves, readings, and the words for heading and footer."""

from __future__ import annotations

from collections.abc import Iterable

from charprobe.files import output
from charprobe.profile.entry import Table, rows_of
from charprobe.profile.profile import Profile
from charprobe.values.editors_digits import edited
from charprobe.values.errors import ProfileError
from charprobe.values.quantity import is_told
from charprobe.values.wording import literal

IN_DBU = "= "  # begins what is said of one reading alone, not of how it was taken


def curve_of(profile: Profile, name: str) -> Table:
    """Return a curve that a figure needs; `ProfileError` if there is no such one, or it has no rows."""
    table = profile.curves.get(name)
    if table is None or not rows_of(table):
        why = profile.why_no_curve(name)
        if why:
            raise ProfileError(
                f"{who(profile)}: the curve {name!r} is not given because of {why}: see `health`"
            )
        there = ", ".join(key for key, curve in profile.curves.items() if rows_of(curve)) or "none"
        raise ProfileError(
            f"{who(profile)}: no curve {name!r} to plot; curves of this profile: {there}. "
            "Measure with a recipe that has the segment for it"
        )
    return table


def in_words(profile: Profile, name: str) -> str:
    """Return a quantity as an editor prints it; what is missing with its bound, or as "not measured"."""
    reading = profile.reading(name)
    return edited(reading).text if reading is not None and is_told(reading) else "not measured"


def who(profile: Profile) -> str:
    """Return setting and channel for a heading."""
    return f"{literal(profile.setting)}, channel {profile.channel}"


def conditions(profile: Profile, names: Iterable[str]) -> str:
    """Return the conditions of the named quantities, the capture they come from, and its warnings."""
    stated = [profile.quantities[name].clauses for name in names if name in profile.quantities]
    parts = list(dict.fromkeys(clause for clauses in stated for clause in clauses if clause[:2] != IN_DBU))
    warned = sorted({item.code for item in profile.health if item.severity != "note"})
    parts.append(f"capture {literal(profile.capture.file)}, {profile.capture.rate_hz / 1000:g} kHz")
    parts.append(f"recipe {profile.stimulus.recipe}, take {profile.stimulus.take}")
    if warned:
        parts.append("warnings: " + ", ".join(warned))
    return "; ".join([*parts, "intervals 95\u00a0%", f"charprobe\u00a0{profile.made_with.version}"]) + "."


def figure_stem(profile: Profile) -> str:
    """Return what the names of a profile's figures begin with."""
    return f"{output.safe_file_name(profile.setting)}-ch{profile.channel}"
