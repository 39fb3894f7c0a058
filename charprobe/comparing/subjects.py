"""What is compared: settings (or channels, or takes), each with all its repeats."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from charprobe.comparing.equivalence import Estimate, weighted
from charprobe.profile.burst_traces import reference_step
from charprobe.profile.entry import Entry, flags, numbers
from charprobe.profile.glossary import group
from charprobe.profile.profile import Profile
from charprobe.values.errors import ProfileError
from charprobe.values.quantity import Quantity, Reading
from charprobe.values.wording import literal, shortened

LABEL_WIDTH = 60
STEP_DB = 0.5  # levels this far apart are another step
BURST = {"from_dbfs": STEP_DB, "to_dbfs": STEP_DB, "carrier_hz": 1.0, "hold_s": 0.001}
TOP_DB = 0.25  # levels this far apart bring reductions as far apart at most
TONE = 0.02  # share by which frequencies may differ and be one tone
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@dataclass(frozen=True)
class Subject:
    """One side of a comparison: a label for people and one profile per repeat."""

    label: str
    repeats: tuple[Profile, ...]


def readings_of(name: str, subject: Subject) -> list[Reading]:
    """Return the readings of a quantity, one of every repeat that has it."""
    return [profile.quantities[name].reading for profile in subject.repeats if name in profile.quantities]


def measured_of(name: str, subject: Subject) -> list[Quantity]:
    """Return those of them that are numbers."""
    return [reading for reading in readings_of(name, subject) if isinstance(reading, Quantity)]


def value_of(name: str, subject: Subject) -> Reading | None:
    """Combine a quantity over the repeats of a subject, for show; None where no repeat has it.

    Times of takes whose bursts are unlike are not of one thing: the surest stands for all.
    """
    measured = measured_of(name, subject)
    if not measured:
        readings = readings_of(name, subject)
        return readings[0] if readings else None
    if len(measured) == 1:
        return measured[0]
    if not of_one_thing(name, subject.repeats):
        return min(measured, key=lambda item: item.std)
    both = weighted([Estimate(item.value, item.std) for item in measured])
    return Quantity.from_std(both.value, both.std, measured[0].unit)


def of_one_thing(name: str, profiles: Sequence[Profile]) -> bool:
    """Whether profiles read a quantity with the same bursts, up to the same level, or off the same tone."""
    if name == "static.max_reduction":
        curves = [profile.curves["static"] for profile in profiles if "static" in profile.curves]
        tops = [numbers(table, "input_dbfs")[flags(table, "used", missing=True)] for table in curves]
        return bool(np.ptp([float(levels.max()) for levels in tops if levels.size] or [0.0]) <= TOP_DB)
    if group(name) in ("attack", "release"):
        told = [profile.curves["timing"] for profile in profiles if "timing" in profile.curves]
        rows = [reference_step(profile) for profile in profiles if "timing" in profile.curves]
        return all(
            np.ptp([numbers(table, column)[row] for table, row in zip(told, rows, strict=True)] or [0])
            <= apart
            for column, apart in BURST.items()
        )
    if group(name) not in ("colour", "noise"):
        return True
    entries = [profile.quantities[name] for profile in profiles if name in profile.quantities]
    texts = [entry.conditions for entry in entries if entry.conditions or isinstance(entry.reading, Quantity)]
    tones = [NUMBER.findall(re.split("[,;]", text)[0].replace("−", "-")) for text in texts]
    if any(tones) and not all(tones):
        return False  # no tone was reduced in one of them
    return all(
        np.ptp(each) <= max(STEP_DB, TONE * max(each))
        for each in zip(*(map(float, tone) for tone in tones), strict=False)
    )


def merged(subject: Subject) -> Profile:
    """Return the first repeat with the quantities of all of them combined; its curves are its own."""
    first = subject.repeats[0]
    if len(subject.repeats) == 1:
        return first
    quantities = {}
    for name in dict.fromkeys(name for profile in subject.repeats for name in profile.quantities):
        value = value_of(name, subject)
        entries = [p.quantities[name] for p in subject.repeats if name in p.quantities]
        alone = next((entry for entry in entries if entry.reading == value), None)
        if alone is not None:
            quantities[name] = alone
        elif value is not None:
            takes = len(measured_of(name, subject))
            quantities[name] = Entry(value, f"{entries[0].conditions}; mean of {takes} takes")
    return replace(first, quantities=quantities)


def subjects_of(profiles: Sequence[Profile]) -> tuple[Subject, ...]:
    """Sort profiles into subjects, in the order given.

    Profiles of one setting and channel are repeats of one subject. Where all profiles are of one setting and
    channel, each is a subject of its own, named by its capture. `ProfileError` if fewer than two profiles are
    given, or two are of one and the same recording.
    """
    if len(profiles) < 2:
        raise ProfileError(f"{len(profiles)} profile given: comparing takes at least two")
    for number, first in copies_in(profiles):
        profile = profiles[number]
        raise ProfileError(
            f"equals-other-capture: profiles {first + 1} and {number + 1} are of the same recording "
            f"({literal(profile.capture.file)}, channel {profile.channel}), not of a repeat: a copy, or a "
            "digital path that repeats itself to the last bit. Comparing would find them equal whatever the "
            "device does. Leave one out, or capture again"
        )
    sets: dict[tuple[str, int], list[Profile]] = {}
    for profile in profiles:
        sets.setdefault((profile.setting, profile.channel), []).append(profile)
    if len(sets) == 1:
        labels = [f"{profile.setting}, {profile.capture.file}" for profile in profiles]
        groups = [[profile] for profile in profiles]
    else:
        settings = {setting for setting, _ in sets}
        alone, several = len(settings) == 1, len(settings) < len(sets)
        labels = [
            f"Channel {channel}" if alone else f"{setting}, channel {channel}" if several else setting
            for setting, channel in sets
        ]
        groups = list(sets.values())
    return tuple(
        Subject(label, tuple(group)) for label, group in zip(_told_apart(labels), groups, strict=True)
    )


def _told_apart(labels: Sequence[str]) -> list[str]:
    """Cut labels to one short line each; number those that would then be alike."""
    short = [shortened(literal(label), LABEL_WIDTH) or "(no name)" for label in labels]
    return [
        f"{label} ({short[: i + 1].count(label)})" if short.count(label) > 1 else label
        for i, label in enumerate(short)
    ]


def copies_in(profiles: Sequence[Profile]) -> tuple[tuple[int, int], ...]:
    """Numbers, from 0, of profiles whose recording an earlier one is of too, each with that earlier one.

    The same file and channel, or the same samples between the markers in another file. Channels of one file
    that hold the same samples are twins, which the file's own findings tell.
    """
    seen: dict[tuple[str, int], int] = {}
    found = []
    for number, profile in enumerate(profiles):
        capture = profile.capture
        keys = [(capture.sha256, profile.channel)]
        if capture.sound_sha256:
            keys.append((capture.sound_sha256, 0))
        first = next((seen[key] for key in keys if key in seen), None)
        twins = first is not None and profiles[first].capture.sha256 == capture.sha256
        if first is not None and not (twins and profiles[first].channel != profile.channel):
            found.append((number, first))
        for key in keys:
            seen.setdefault(key, number)
    return tuple(found)
