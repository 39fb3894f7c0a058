"""A setting on the page: its name, its sentence, its key in overlays, its numbers and its takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from charprobe.comparing.subjects import Subject, merged
from charprobe.profile import glossary
from charprobe.profile.profile import Profile
from charprobe.profile.standing import spoilt_by, standing
from charprobe.publishing.figures.all_figures import profile_drawings
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, MARKERS
from charprobe.publishing.figures.points import has_reduction
from charprobe.publishing.portrait import FLAT_DB, Portrait, is_coloured, portrait_of, response_reach_db
from charprobe.publishing.report.inline_svg import InPage, in_page
from charprobe.publishing.report.thumbnail import static_points, timing_points
from charprobe.values.editors_digits import edited
from charprobe.values.quantity import Quantity, is_told
from charprobe.values.wording import counted, number_text, readable

QUIET_CHANGE_DB = 1.0  # noise that changes by less has no figure
NO_MEMORY = 0.05  # a release that changes by a smaller share with the length of the burst has none


@dataclass(frozen=True)
class Cell:
    """A reading in a table: value and unit, interval, and `why` there is no number ("" where there is)."""

    value: str
    spread: str
    why: str


@dataclass(frozen=True)
class Take:
    """A capture that stands for a setting, or that others stand in for: its facts, and what spoiled it."""

    facts: str
    spoilt: str


@dataclass(frozen=True)
class Shown:
    """A setting on the page: its name, its place (from 0), its takes.

    The profile has the quantities of the good takes merged.
    """

    profile: Profile
    name: str
    number: int
    takes: tuple[Take, ...]

    @property
    def anchor(self) -> str:
        """Id of the part with all figures and numbers."""
        return f"setting-{self.number + 1}"

    @property
    def colour(self) -> str:
        """The setting's colour in overlays, as a variable of the page."""
        return f"var(--series-{self.number % len(ARTICLE_LOOK.palette.series)})"

    @property
    def dash(self) -> str | None:
        """Lengths of the setting's line style in overlays; None where it is solid."""
        style = ARTICLE_LOOK.series(self.number)["linestyle"]
        return None if style == "solid" else " ".join(f"{2 * length:g}" for length in style[1])

    @property
    def shape(self) -> int:
        """Number of the setting's marker in overlays."""
        return MARKERS.index(ARTICLE_LOOK.series(self.number)["marker"])

    @property
    def portrait(self) -> Portrait:
        """The setting in a few sentences."""
        return portrait_of(self.profile)

    @property
    def warned(self) -> int:
        """How many warnings or worse the capture has."""
        return sum(item.severity != "note" for item in self.profile.health)

    @property
    def static_points(self) -> str:
        """The static curve in small."""
        return static_points(self.profile)

    @property
    def timing_points(self) -> tuple[str, ...]:
        """Attack and release in small."""
        return timing_points(self.profile)

    def cell(self, name: str) -> Cell | None:
        """Return a quantity as an editor prints it; None where the profile has no such quantity."""
        entry = self.profile.quantities.get(name)
        if entry is None:
            return None
        words = edited(entry.reading)
        return Cell(words.number, readable(entry.reading).text, self._why(name))

    def full_cell(self, name: str) -> Cell:
        """Return a quantity with all the digits its interval bears."""
        words = readable(self.profile.quantities[name].reading)
        value = words.value + ("" if words.unit in ("", ":1") else " ") + words.unit
        return Cell(value, words.spread, self._why(name))

    def _why(self, name: str) -> str:
        reading = self.profile.quantities[name].reading
        return "" if isinstance(reading, Quantity) else f"{reading.reason}. To settle it: {reading.next}"

    def _note(self, name: str, shared: Sequence[str] = ()) -> str:
        """Return conditions of a quantity but the shared ones, or why it has no number and what gives it."""
        entry = self.profile.quantities[name]
        if isinstance(entry.reading, Quantity):
            return "; ".join(clause for clause in entry.clauses if clause not in shared)
        return f"Not measured: {entry.reading.reason}. Next: {entry.reading.next}."

    @property
    def groups(self) -> list[tuple[str, str, list[tuple[str, str]]]]:
        """Title of every group, conditions of all its numbers, its quantities with what else is said of each.

        Those with a number or a bound only; what was said of the one before is not said again.
        """
        found = []
        for group, title in glossary.GROUPS.items():
            entries = {n: e for n, e in self.profile.quantities.items() if glossary.group(n) == group}
            names = [name for name, entry in entries.items() if is_told(entry.reading)]
            stated = [e.clauses for e in entries.values() if isinstance(e.reading, Quantity)]
            shared = [one for one in stated[0] if all(one in own for own in stated)] if stated[1:] else []
            notes = [self._note(name, shared) for name in names]
            again = [note and note == before for note, before in pairwise(["", *notes])]
            rows = [
                (name, "as above" if same else note)
                for name, note, same in zip(names, notes, again, strict=True)
            ]
            found += [(title, "; ".join(shared), rows)] if rows else []
        return found

    @property
    def untold(self) -> list[tuple[str, str]]:
        """Reasons why quantities have no number, and the titles of those that share one."""
        together: dict[str, list[str]] = {}
        for name, entry in self.profile.quantities.items():
            if not is_told(entry.reading):
                together.setdefault(self._note(name), []).append(glossary.term(name).title)
        return [(reason, ", ".join(titles)) for reason, titles in together.items()]

    @property
    def empty(self) -> list[str]:
        """What has no figure, in a line each."""
        reach = response_reach_db(self.profile)
        lines = []
        if not is_coloured(self.profile) and "harmonics" in self.profile.curves:
            lines.append(self.portrait.colour)
        elif reach is not None and reach <= FLAT_DB:
            lines.append(f"Response flat within {max(reach, 0.01):.2f} dB.")
        if not has_reduction(self.profile) and "static" in self.profile.curves:
            lines.append("No attack and no release: the reference burst is not reduced.")
        return [line for line in lines if line]

    def figures(self) -> tuple[InPage, ...]:
        """Draw the figures that show something; what is empty is told in `empty`."""
        stages = self.profile.measured("release.stages")
        useless = set() if stages is not None and stages.value > 1.5 else {"attack-release-log"}
        if not has_reduction(self.profile):
            useless |= {"attack-release", "attack-release-log", "memory", "train"}
        if not is_coloured(self.profile):
            useless |= {"harmonics", "colour-map", "colour-card", "transfer"}
        reach = response_reach_db(self.profile)
        if reach is not None and reach <= FLAT_DB:
            useless |= {"response"}
        change = self.profile.measured("noise.change")
        if change is not None and abs(change.value) < QUIET_CHANGE_DB:
            useless |= {"noise"}
        memory = self.profile.measured("release.memory")
        if memory is not None and abs(memory.value - 1) < NO_MEMORY:
            useless |= {"memory"}
        return in_page(profile_drawings(self.profile, ARTICLE_LOOK, without=useless), f"s{self.number + 1}f")


def _facts(profile: Profile) -> str:
    """Capture, stimulus and alignment in one line of small print."""
    capture, stimulus, alignment = profile.capture, profile.stimulus, profile.alignment
    words = (
        f"{capture.file}: {capture.rate_hz / 1000:g} kHz, {capture.bits} bit, "
        f"{counted(capture.channels, 'channel')}, {number_text(capture.duration_s, 2)} s, SHA-256 "
        f"{capture.sha256[:16]}…; recipe {stimulus.recipe} ({stimulus.hash[:6]}), take {stimulus.take}; "
        f"delay {number_text(alignment.delay_samples, 2)} samples, drift "
        f"{number_text(alignment.drift_ppm, 2)} ppm, polarity "
        f"{'kept' if alignment.polarity > 0 else 'inverted'}; charprobe {profile.made_with.version}"
    )
    options = profile.made_with.options.items()
    return words + "".join(f"; {name} {value}" for name, value in options if value is not None)


def shown_of(profiles: Sequence[Profile]) -> list[Shown]:
    """Return every setting once, on the lowest channel that all have; its good takes come first."""
    settings = list(dict.fromkeys(profile.setting for profile in profiles))
    held = [{p.channel for p in profiles if p.setting == name} for name in settings]
    shared = set.intersection(*held)
    shown = []
    for number, (name, channels) in enumerate(zip(settings, held, strict=True)):
        channel = min(shared or channels)
        own = [p for p in profiles if p.setting == name and p.channel == channel]
        good = standing(own)
        rest = [p for p in own if not any(p is one for one in good)]
        takes = tuple(Take(_facts(p), ", ".join(spoilt_by(p))) for p in (*good, *rest))
        shown.append(Shown(merged(Subject(name, tuple(good))), name, number, takes))
    return shown
