"""Whether a stage that is off is out of the way: its bypass against a loop-back without the device."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from charprobe.comparing.curve_kinds import response_of
from charprobe.comparing.curves import MARGINS
from charprobe.comparing.subjects import Subject
from charprobe.profile.glossary.row import Margin
from charprobe.profile.profile import Profile
from charprobe.session.claims import CheckedClaim
from charprobe.values.wording import number_text, signed_text

CLAIM = "Stage off, the path is that of the loop-back"
NAMES = {  # quantity -> what it is called in the answer
    "static.makeup_gain": "gain",
    "noise.change": "noise",
}
LATENCY, LATENCY_SAMPLES = "path.latency_samples", 0.5
RESPONSE_DB = 0.1


def check_stage_off(
    profiles: Sequence[Profile], *, margins: Mapping[str, Margin] = MARGINS
) -> tuple[CheckedClaim, ...]:
    """Set every channel of the bypass beside the loop-back; nothing where there are no such profiles.

    Supported if gain, noise, latency and response of every channel lie within their margins with their whole
    intervals, contradicted if one lies outside with all of it.
    """
    return tuple(_checked(profile, margins, several=len(profiles) > 1) for profile in profiles)


def _checked(profile: Profile, margins: Mapping[str, Margin], *, several: bool) -> CheckedClaim:
    text = f"{CLAIM} (channel {profile.channel})" if several else CLAIM
    inside: list[str] = []
    outside: list[str] = []
    open_ones: list[str] = []
    for words, low, high, size in _found(profile, margins):
        if max(-low, high) <= size:
            inside.append(words)
        elif low > size or high < -size:
            outside.append(words)
        else:
            open_ones.append(words)
    if outside:
        return CheckedClaim(text, "contradicted", "; ".join(outside))
    if open_ones or len(inside) < 2:
        return CheckedClaim(text, "not enough evidence", "; ".join(open_ones) or "too little was measured")
    return CheckedClaim(text, "supported", "; ".join(inside))


def _found(profile: Profile, margins: Mapping[str, Margin]) -> list[tuple[str, float, float, float]]:
    """Words, both ends of the interval, and margin of everything that is compared."""
    found = []
    for name, word in NAMES.items():
        reading = profile.measured(name)
        if reading is not None:
            text = f"{word} {signed_text(reading.value, 2)} dB"
            found.append((text, reading.low, reading.high, margins[name].size))
    latency = profile.measured(LATENCY)
    if latency is not None:
        text = f"latency {signed_text(latency.value, 2)} samples"
        found.append((text, latency.low, latency.high, LATENCY_SAMPLES))
    return found + _response(profile)


def _response(profile: Profile) -> list[tuple[str, float, float, float]]:
    """Largest deviation of the response from its value at 1 kHz, at the lowest drive."""
    curve = response_of(Subject(profile.setting, (profile,)))
    if curve is None:
        return []
    off = float(curve.value_db[np.argmax(np.abs(curve.value_db))])
    text = f"response within {number_text(abs(off), 2)} dB of that at 1 kHz"
    return [(text, off, off, RESPONSE_DB)]
