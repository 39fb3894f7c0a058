"""Which takes stand for a setting: those that nothing in the capture spoiled, where there are any."""

from __future__ import annotations

from collections.abc import Sequence

from charprobe.profile.entry import Health
from charprobe.profile.profile import Profile
from charprobe.values.wording import literal

OF_THE_STAGE = frozenset(
    {
        "unsettled",
        "output-saturated",
        "gap-too-short",
        "below-resolution",
        "never-compresses",
        "always-compresses",
        "expander",
        "upward-compression",
        "second-bend",
        "history-dependent",
        "stepped-gain",
        "contradiction",
    }
)
"""Findings that tell of the stage, or of what the recipe can show of it: another take has them too."""


def spoilt_by(profile: Profile) -> tuple[str, ...]:
    """Return the codes of what cost this take results that another take of the setting would give."""
    return tuple(
        dict.fromkeys(
            item.code
            for item in profile.health
            if item.severity == "stop"
            or (item.severity == "warn" and item.withholds and item.code not in OF_THE_STAGE)
        )
    )


def finding_in(reason: str, health: Sequence[Health]) -> str:
    """Return the code of the finding that a missing number's reason repeats; "" if it repeats none."""
    code, _, words = reason.partition(": ")
    told = any(i.code == code and i.severity != "note" and i.message.startswith(words) for i in health)
    return code if told and words else ""


def standing(profiles: Sequence[Profile]) -> list[Profile]:
    """Return the takes that stand for their setting and channel: the unspoilt, else all there are."""
    good = {(p.setting, p.channel) for p in profiles if not spoilt_by(p)}
    return [p for p in profiles if (p.setting, p.channel) not in good or not spoilt_by(p)]


def left_out(profiles: Sequence[Profile]) -> tuple[str, ...]:
    """Return a sentence on every take that others stand in for, and on every setting without a good one."""
    kept = standing(profiles)
    lines = []
    for profile in profiles:
        codes = ", ".join(spoilt_by(profile))
        if codes:
            where = f"{literal(profile.setting)}, {literal(profile.capture.file)}, channel {profile.channel}"
            rest = (
                "no other take is better, so it stands for the setting: capture it again"
                if any(profile is one for one in kept)
                else "left out; the other takes stand for the setting"
            )
            lines.append(f"{where}: spoiled ({codes}); {rest}")
    return tuple(lines)
