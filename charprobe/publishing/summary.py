"""A profile on the terminal: health first, then every quantity with unit and interval, then findings."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterable

from charprobe.profile import glossary
from charprobe.profile.entry import Entry, Health, where_text
from charprobe.profile.in_dbu import dbu_text
from charprobe.profile.profile import Profile
from charprobe.values.quantity import Quantity, Unmeasured
from charprobe.values.wording import counted, literal, readable, shortened, signed_text

WIDTH = 96
TITLE, VALUE, SPREAD, UNIT = 30, 12, 20, 10
SHARED = 3  # quantities without number that share one reason are told together from here on


def summarise(profile: Profile) -> str:
    """Return the profile as plain text, at most `WIDTH` characters wide.

    Quantities that could not be measured stand in their place with a dash or a bound and the reason, cut
    to one line; the profile's file has reason and next test in full.
    """
    blocks = [_head(profile), _health(profile.health)]
    blocks += [_group(name, title, profile) for name, title in glossary.GROUPS.items()]
    blocks.append(_paragraphs("FINDINGS", profile.findings))
    return "\n\n".join(block for block in blocks if block)


def _head(profile: Profile) -> str:
    capture, stimulus, alignment = profile.capture, profile.stimulus, profile.alignment
    facts = (
        f"{capture.rate_hz / 1000:g} kHz, {capture.bits} bit, {counted(capture.channels, 'channel')}, "
        f"{capture.duration_s:.2f} s"
    )
    polarity = "kept" if alignment.polarity > 0 else "inverted"
    lines = [
        ("Setting", f"{literal(profile.setting)}, channel {profile.channel}"),
        ("Capture", f"{literal(capture.file)} ({facts})"),
        ("Stimulus", f"{stimulus.recipe}, take {stimulus.take}, {stimulus.rate_hz / 1000:g} kHz"),
        (
            "Alignment",
            f"delay {alignment.delay_samples:.2f} samples, drift {signed_text(alignment.drift_ppm, 2)} ppm, "
            f"polarity {polarity}".replace("-", "−"),
        ),
    ]
    return "\n".join(f"{label:<10}{shortened(text, WIDTH - 10)}" for label, text in lines)


def _health(items: tuple[Health, ...]) -> str:
    lines = ["HEALTH"]
    for item in items:
        place = where_text(item)
        text = f"{literal(item.message)}" + (f" [{place}]" if place else "")
        label = f"  {item.severity.upper():<5} {item.code:<18}"
        lines += textwrap.wrap(text, WIDTH, initial_indent=label, subsequent_indent=" " * len(label))
    if not items:
        lines.append("  nothing found wrong")
    return "\n".join(lines)


def _group(group: str, title: str, profile: Profile) -> str:
    rows = [(name, entry) for name, entry in profile.quantities.items() if glossary.group(name) == group]
    if not rows:
        return ""
    head = f"{title.upper():<{TITLE}}{'value':>{VALUE}}  {'95 % interval':<{SPREAD}}{'unit':<{UNIT}}"
    together: dict[str, list[str]] = {}
    for name, entry in rows:
        if isinstance(entry.reading, Unmeasured) and not entry.reading.bounded:
            together.setdefault(entry.reading.reason, []).append(name)
    shared = {reason: names for reason, names in together.items() if len(names) >= SHARED}
    silent = {name for names in shared.values() for name in names}
    lines = [_row(name, entry) for name, entry in rows if name not in silent]
    for reason, names in shared.items():
        titles = ", ".join(glossary.term(name).title for name in names)
        lines += textwrap.wrap(
            f"Not measured: {titles} – {literal(reason)}",
            WIDTH,
            initial_indent="  ",
            subsequent_indent="    ",
        )
    return "\n".join([head.rstrip() if len(silent) < len(rows) else title.upper(), *lines])


def _row(name: str, entry: Entry) -> str:
    shown = readable(entry.reading)
    start = f"  {glossary.term(name).title:<{TITLE - 2}}{shown.value:>{VALUE}}  "
    if isinstance(entry.reading, Quantity):
        return f"{start}{shown.spread:<{SPREAD}}{shown.unit:<{UNIT}}{dbu_text(entry)}".rstrip()
    start += f"{shown.unit:<3}  " if shown.unit else ""
    return start + shortened(literal(entry.reading.reason), WIDTH - columns_of(start))


def _paragraphs(title: str, texts: Iterable[str]) -> str:
    lines = [
        line
        for text in texts
        for line in textwrap.wrap(literal(text), WIDTH, initial_indent="  ", subsequent_indent="    ")
    ]
    return "\n".join([title, *lines]) if lines else ""


def columns_of(text: str) -> int:
    """Return how many terminal columns a text takes: wide characters take two, combining ones none."""
    return sum(
        0 if unicodedata.combining(character) else 2 if unicodedata.east_asian_width(character) in "WF" else 1
        for character in text
    )
