"""What every published name means, a row each: title, unit, definition, margin, goal.

Profiles, tables, comparisons, figures and pages take all of that from here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from charprobe.profile.glossary.colour import COLOUR
from charprobe.profile.glossary.path import DETECTOR, NOISE, PATH, REPLICA, RESPONSE
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
        "replica": "Replica",
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
        "programme": ("replica",),
        "link": ("detector.link", "detector.crosstalk"),
    }
)
"""What each kind of segment is measured for: groups, or quantities where it is not the whole group."""

CURVES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "static": ("static.low_level_gain",),
        "static_slope": ("static.threshold",),
        "static_over_frequency": ("static.low_level_gain",),
        "detector": ("detector.exponent",),
        "link": ("detector.link",),
        "timing": ("attack.t63", "release.t63"),
        "gain_trace": ("attack.t63", "release.t63"),
        "timing_definitions": ("attack.t63", "release.t63"),
        "attack_detail": ("attack.t63",),
        "burst_train": ("release.train_swing",),
        "burst_train_trace": ("release.train_swing",),
        "harmonics": ("colour.thd_at_reference",),
        "harmonic_growth": ("colour.thd_at_reference",),
        "colour_and_ripple": ("colour.ripple_share",),
        "colour_over_frequency": ("colour.thd_at_reference",),
        "transfer": ("colour.thd_at_reference",),
        "intermodulation": ("colour.imd_smpte",),
        "stray_lines": ("colour.thd_at_reference", "noise.under_signal"),
        "noise_under_signal": ("colour.thd_at_reference", "noise.under_signal"),
        "response": ("response.tilt",),
        "sweep_harmonics": ("response.tilt", "colour.thd_at_reference"),
        "noise_spectrum": ("noise.unweighted",),
        "mains_lines": ("noise.unweighted",),
        "replica_gain": ("replica.gain_error",),
    }
)
"""Every curve a profile may hold, and quantities without which it is not to be trusted either."""

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
        **REPLICA,
    }
)
"""Every quantity a profile may hold, in reading order."""


def term(name: str) -> Term:
    """Return the entry of a quantity; `KeyError` if there is none: add it before publishing the quantity."""
    return TERMS[name]


def group(name: str) -> str:
    """Return the group of a quantity: the part of its name before the dot."""
    return name.partition(".")[0]
