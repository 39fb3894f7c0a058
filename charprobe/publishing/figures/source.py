"""What figures take from a profile: columns as arrays, readings, and the words for heading and footer."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from charprobe.profile.profile import Profile
from charprobe.values.wording import literal, readable

Array = NDArray[np.float64]


def in_words(profile: Profile, name: str) -> str:
    """Return a quantity in words; what is missing with its bound, or as "not measured"."""
    entry = profile.quantities.get(name)
    text = readable(entry.reading).text if entry is not None else "–"
    return "not measured" if text == "–" else text


def who(profile: Profile) -> str:
    """Return setting and channel for a heading."""
    return f"{literal(profile.setting)}, channel {profile.channel}"


def conditions(profile: Profile, names: Iterable[str]) -> str:
    """Return the conditions of the named quantities, the capture they come from, and its warnings."""
    stated = [profile.quantities[name].conditions for name in names if name in profile.quantities]
    clauses = [clause.strip().rstrip(".") for text in stated for clause in text.split(";")]
    parts = list(dict.fromkeys(clause for clause in clauses if clause))
    warned = sorted({item.code for item in profile.health if item.severity != "note"})
    parts.append(f"capture {literal(profile.capture.file)}, {profile.capture.rate_hz / 1000:g} kHz")
    parts.append(f"recipe {profile.stimulus.recipe}, take {profile.stimulus.take}")
    if warned:
        parts.append("warnings: " + ", ".join(warned))
    return "; ".join([*parts, "intervals 95\u00a0%", f"charprobe\u00a0{profile.made_with.version}"]) + "."
