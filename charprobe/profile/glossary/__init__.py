"""What every published name means, a row each: title, unit, definition, margin, goal.

Profiles, tables, comparisons, figures and pages take all of that from here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from charprobe.profile.glossary.colour import COLOUR
from charprobe.profile.glossary.path import DETECTOR, NOISE, PATH, REPLAY, RESPONSE
from charprobe.profile.glossary.row import Term
from charprobe.profile.glossary.static import STATIC
from charprobe.profile.glossary.timing import ATTACK, RELEASE

GROUPS: Mapping[str, str] = MappingProxyType(
    {
        "static": "Static curve",
        "attack": "Attack",
        "release": "Release",
        "colour": "Colour",
        "response": "Response",
        "noise": "Noise",
        "path": "Path",
        "detector": "Detector",
        "replay": "Replay",
    }
)
"""Groups of quantities in reading order: the part of a name before its dot, and its title."""

SERVES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "level_steps": ("static",),
        "bursts": ("attack", "release"),
        "burst_lengths": ("release",),
        "burst_train": ("release.train_swing", "release.train_held"),
        "sweep": ("response",),
        "tones": ("colour", "noise.under_signal", "noise.rise_under_signal"),
        "silence": ("noise",),
        "two_tone": ("colour.imd_smpte", "colour.imd_difference"),
        "equal_peak": ("detector.exponent",),
        "programme": ("replay",),
        "link": ("detector.link", "detector.crosstalk"),
    }
)
"""What each kind of segment is measured for: groups, or quantities where it is not the whole group."""

TERMS: Mapping[str, Term] = MappingProxyType(
    {
        **STATIC,
        **ATTACK,
        **RELEASE,
        **COLOUR,
        **RESPONSE,
        **NOISE,
        **PATH,
        **DETECTOR,
        **REPLAY,
    }
)
"""Every quantity a profile may hold, in reading order."""


def term(name: str) -> Term:
    """Return the entry of a quantity.

    Raises
    ------
    KeyError
        If the glossary does not hold `name`: add it there before publishing it.
    """
    return TERMS[name]


def group(name: str) -> str:
    """Return the group of a quantity: the part of its name before the dot."""
    return name.partition(".")[0]
