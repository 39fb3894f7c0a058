"""The first screen of the page: every setting in a sentence, and one table for each kind of setting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from charprobe.comparing.absence import reduces
from charprobe.profile.profile import Profile
from charprobe.publishing.portrait import FLAT_DB, is_coloured, response_reach_db
from charprobe.publishing.report.card import Shown

COMPRESSING = (
    "static.threshold",
    "static.ratio",
    "static.knee_width",
    "static.makeup_gain",
    "attack.t63",
    "release.t63",
    "release.t90",
    "release.memory",
)
COLOURING = (
    "colour.thd_at_reference",
    "colour.h2_at_reference",
    "colour.h3_at_reference",
    "colour.even_odd_balance",
    "colour.onset",
    "colour.input_at_thd_minus60db",
    "response.shelf_gain",
    "response.shelf_corner",
    "response.tilt",
    "noise.change",
)
PLAIN = {"release.memory": 1.0, "response.tilt": 0.0, "noise.change": 0.0, "static.makeup_gain": 0.0}
"""Values that say nothing where every setting has them: no memory, no tilt, no noise, no gain."""
AS_PLAIN = 0.1  # how near to those: in dB, or as a share


@dataclass(frozen=True)
class Overview:
    """A table of the first screen: its caption, its columns, and the settings it is about."""

    caption: str
    names: tuple[str, ...]
    rows: tuple[Shown, ...]


def overviews_of(shown: Sequence[Shown]) -> tuple[Overview, ...]:
    """Return the tables that have something to say: compressor settings, then colour settings."""
    compressing = [one for one in shown if reduces(one.profile)]
    colouring = [one for one in shown if has_colour(one.profile)]
    tables = (
        ("Settings that change the dynamics", COMPRESSING, compressing),
        ("Settings that change the sound", COLOURING, colouring),
    )
    return tuple(
        Overview(caption, columns, tuple(rows))
        for caption, names, rows in tables
        if (columns := tuple(name for name in names if any(_tells(name, one.profile) for one in rows)))
    )


def has_colour(profile: Profile) -> bool:
    """Tell whether a setting adds harmonics or bends the response."""
    reach = response_reach_db(profile)
    return is_coloured(profile) or (reach is not None and reach > FLAT_DB)


def _tells(name: str, profile: Profile) -> bool:
    """Tell whether a setting has a number that is not the plain one."""
    reading = profile.measured(name)
    return reading is not None and (name not in PLAIN or abs(reading.value - PLAIN[name]) > AS_PLAIN)
