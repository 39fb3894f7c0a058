"""What is compared: settings (or channels, or takes), each with all its repeats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from charprobe.errors import ProfileError
from charprobe.profile import Profile
from charprobe.wording import literal, shortened

LABEL_WIDTH = 40


@dataclass(frozen=True)
class Subject:
    """One side of a comparison: a label for people and one profile per repeat."""

    label: str
    repeats: tuple[Profile, ...]


def subjects_of(profiles: Sequence[Profile]) -> tuple[Subject, ...]:
    """Sort profiles into subjects, in the order given.

    Profiles of one setting and channel are repeats of one subject. Where all profiles are of one setting and
    channel, each is a subject of its own, named by its capture.

    Raises
    ------
    ProfileError
        If fewer than two profiles are given, or two are of one and the same recording.
    """
    if len(profiles) < 2:
        raise ProfileError(f"{len(profiles)} profile given: comparing takes at least two")
    _refuse_doubles(profiles)
    sets: dict[tuple[str, int], list[Profile]] = {}
    for profile in profiles:
        sets.setdefault((profile.setting, profile.channel), []).append(profile)
    if len(sets) == 1:
        labels = [f"{profile.setting}, {profile.capture.file}" for profile in profiles]
        groups = [[profile] for profile in profiles]
    else:
        settings = {setting for setting, _ in sets}
        several = len(settings) < len(sets)
        labels = [
            _label(setting, channel, alone=len(settings) == 1, several=several) for setting, channel in sets
        ]
        groups = list(sets.values())
    return tuple(
        Subject(label, tuple(group)) for label, group in zip(_told_apart(labels), groups, strict=True)
    )


def _label(setting: str, channel: int, *, alone: bool, several: bool) -> str:
    if alone:
        return f"Channel {channel}"
    return f"{setting}, channel {channel}" if several else setting


def _told_apart(labels: Sequence[str]) -> list[str]:
    """Cut labels to one short line each; number those that would then be alike."""
    short = [shortened(literal(label), LABEL_WIDTH) or "(no name)" for label in labels]
    return [
        f"{label} ({short[: i + 1].count(label)})" if short.count(label) > 1 else label
        for i, label in enumerate(short)
    ]


def _refuse_doubles(profiles: Sequence[Profile]) -> None:
    seen: dict[tuple[str, int], int] = {}
    for number, profile in enumerate(profiles, start=1):
        keys = [(profile.capture.sha256, profile.channel)]
        if profile.capture.sound_sha256:
            keys.append((profile.capture.sound_sha256, 0))
        for key in keys:
            if key in seen:
                raise ProfileError(
                    f"equals-other-capture: profiles {seen[key]} and {number} are of the same recording "
                    f"({literal(profile.capture.file)}, channel {profile.channel}), not of a repeat: a copy, "
                    "or a digital path that repeats itself to the last bit. Comparing would find them equal "
                    "whatever the device does. Leave one out, or capture again"
                )
            seen[key] = number
