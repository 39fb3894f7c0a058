"""A profile on the terminal: a few lines to be read aloud and the main numbers, or every quantity."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterable, Sequence

from charprobe.profile import glossary
from charprobe.profile.entry import Entry, Health, where_text
from charprobe.profile.in_dbu import dbu_text
from charprobe.profile.profile import Profile
from charprobe.profile.standing import finding_in
from charprobe.publishing.portrait import portrait_of
from charprobe.values.editors_digits import edited
from charprobe.values.quantity import Quantity, Unmeasured
from charprobe.values.wording import counted, literal, number_text, readable, shortened, signed_text

WIDTH = 96
WHOLE = "\u00a0"  # between words that stay on one line
TITLE, VALUE, SPREAD, UNIT = 30, 12, 20, 10
MAIN = {
    "Static": ("static.threshold", "static.ratio", "static.knee_width", "static.makeup_gain"),
    "Times": ("attack.t63", "attack.t90", "release.t63", "release.t90"),
    "Colour": ("colour.thd_at_reference", "colour.onset", "colour.input_at_thd_minus60db"),
    "Response": ("response.tilt", "response.low_corner", "response.high_corner"),
    "Noise": ("noise.a_weighted", "noise.change"),
    "Path": ("path.latency",),
}
"""Topics of the short summary and their main quantities."""

SHARED = 3  # quantities without number that share one reason are told together from here on


def summarise(profile: Profile, *, width: int = WIDTH) -> str:
    """Return what the setting is in up to four lines, what is wrong with its capture, and its main numbers.

    Numbers have few digits; `summarise_all` has all of them. Lines are at most `width` characters long.
    """
    name = f"{literal(profile.setting)}, channel {profile.channel}"
    lines = [shortened(name, width), *_wrapped(portrait_of(profile).lines, width)]
    blocks = ["\n".join(lines), _health([item for item in profile.health if item.severity != "note"], width)]
    blocks.append(
        "\n".join(line for title, names in MAIN.items() for line in _topic(title, names, profile, width))
    )
    notes = sum(item.severity == "note" for item in profile.health)
    rest = [counted(notes, "note")] if notes else []
    rest += [f"{len(profile.quantities)} quantities", counted(len(profile.findings), "finding")]
    blocks.append(f"All of it ({', '.join(rest)}): --all")
    return "\n\n".join(block for block in blocks if block)


def _topic(title: str, names: Sequence[str], profile: Profile, width: int) -> list[str]:
    """Return the main numbers of a topic; reasons for what is missing follow, each once."""
    told: list[str] = []
    missing: dict[str, list[str]] = {}
    for name in names:
        entry = profile.quantities.get(name)
        if entry is None:
            continue
        reading, label = entry.reading, glossary.term(name).title
        if isinstance(reading, Unmeasured) and not reading.bounded:
            code = finding_in(reading.reason, profile.health)
            missing.setdefault(f"{code}, as said above" if code else reading.reason, []).append(label)
        else:
            told.append(f"{label} {edited(reading).text} {dbu_text(entry)}".rstrip().replace(" ", WHOLE))
    texts = ["; ".join(told)] if told else []
    texts += [f"no {', '.join(labels)}: {literal(reason)}" for reason, labels in missing.items()]
    return [
        line.replace(WHOLE, " ")
        for number, text in enumerate(texts)
        for line in textwrap.wrap(
            text,
            width,
            initial_indent=f"{title if number == 0 else '':<10}",
            subsequent_indent=" " * 10,
            break_on_hyphens=False,
        )
    ]


def _wrapped(texts: Iterable[str], width: int) -> list[str]:
    return [
        line.replace(WHOLE, " ")
        for text in texts
        for line in textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="    ")
    ]


def summarise_all(profile: Profile, *, width: int = WIDTH) -> str:
    """Return the whole profile as plain text, at most `width` characters wide.

    Quantities that could not be measured stand in their place with a dash or a bound and the reason.
    """
    blocks = [_head(profile, width), _health(profile.health, width)]
    blocks += [_group(name, title, profile, width) for name, title in glossary.GROUPS.items()]
    blocks.append(_findings(profile.findings, width))
    return "\n\n".join(block for block in blocks if block)


def _head(profile: Profile, width: int) -> str:
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
            f"delay {number_text(alignment.delay_samples, 2)} samples, "
            f"drift {signed_text(alignment.drift_ppm, 2)} ppm, polarity {polarity}",
        ),
    ]
    return "\n".join(f"{label:<10}{shortened(text, width - 10)}" for label, text in lines)


def _health(items: Sequence[Health], width: int) -> str:
    lines = ["HEALTH"]
    for item in items:
        place = where_text(item)
        text = f"{literal(item.message)}" + (f" [{place}]" if place else "")
        label = f"  {item.severity.upper():<5} {item.code:<18} "
        lines += textwrap.wrap(text, width, initial_indent=label, subsequent_indent=" " * len(label))
    if not items:
        lines.append("  nothing found wrong")
    return "\n".join(lines)


def _group(group: str, title: str, profile: Profile, width: int) -> str:
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
    lines = [_row(name, entry, width) for name, entry in rows if name not in silent]
    for reason, names in shared.items():
        titles = ", ".join(glossary.term(name).title for name in names)
        lines += _wrapped([f"Not measured: {titles} – {literal(reason)}"], width)
    return "\n".join([head.rstrip() if len(silent) < len(rows) else title.upper(), *lines])


def _row(name: str, entry: Entry, width: int) -> str:
    shown = readable(entry.reading)
    start = f"  {glossary.term(name).title:<{TITLE - 2}}{shown.value:>{VALUE}}  "
    if isinstance(entry.reading, Quantity):
        return f"{start}{shown.spread:<{SPREAD}}{shown.unit:<{UNIT}}{dbu_text(entry)}".rstrip()
    start += f"{shown.unit:<3}  " if shown.unit else ""
    indent = " " * columns_of(start)
    words = textwrap.wrap(
        literal(entry.reading.reason), width, initial_indent=indent, subsequent_indent=indent
    )
    return start + "\n".join(words).strip()


def _findings(findings: Sequence[str], width: int) -> str:
    return "\n".join(["FINDINGS", *_wrapped(map(literal, findings), width)]) if findings else ""


def columns_of(text: str) -> int:
    """Return how many terminal columns a text takes: wide characters take two, combining ones none."""
    return sum(
        0 if unicodedata.combining(character) else 2 if unicodedata.east_asian_width(character) in "WF" else 1
        for character in text
    )
