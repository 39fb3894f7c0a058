"""A setting on the page: its key in overlays, its row of the overview, its own card."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from charprobe.profile import glossary
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.all_figures import profile_drawings
from charprobe.publishing.figures.look.drawing import Drawing
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, MARKERS
from charprobe.publishing.figures.overlay import has_reduction
from charprobe.publishing.report.thumbnail import static_points, timing_points
from charprobe.values.quantity import Quantity
from charprobe.values.wording import number_text, readable


@dataclass(frozen=True)
class Cell:
    """A reading in a table: value and unit, interval, and `why` there is no number ("" where there is)."""

    value: str
    spread: str
    why: str


@dataclass(frozen=True)
class Shown:
    """A profile on the page: its name, its place (from 0), and its place in overlays, shared by repeats."""

    profile: Profile
    name: str
    number: int
    series: int

    @property
    def anchor(self) -> str:
        """Id of the card."""
        return f"setting-{self.number + 1}"

    @property
    def colour(self) -> str:
        """The setting's colour in overlays, as a variable of the page."""
        return f"var(--series-{self.series % len(ARTICLE_LOOK.palette.series)})"

    @property
    def dash(self) -> str | None:
        """Lengths of the setting's line style in overlays; None where it is solid."""
        style = ARTICLE_LOOK.series(self.series)["linestyle"]
        return None if style == "solid" else " ".join(f"{2 * length:g}" for length in style[1])

    @property
    def shape(self) -> int:
        """Number of the setting's marker in overlays."""
        return MARKERS.index(ARTICLE_LOOK.series(self.series)["marker"])

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
        """Return a quantity for a table; None where the profile has no such quantity."""
        entry = self.profile.quantities.get(name)
        if entry is None:
            return None
        words, reading = readable(entry.reading), entry.reading
        value = words.value + ("" if words.unit in ("", ":1") else " ") + words.unit
        why = "" if isinstance(reading, Quantity) else f"{reading.reason}. To settle it: {reading.next}"
        return Cell(value, words.spread, why)

    def note(self, name: str) -> str:
        """Return the conditions of a quantity, or why it has no number and what would settle it."""
        entry = self.profile.quantities[name]
        if isinstance(entry.reading, Quantity):
            return entry.conditions
        return f"Not measured: {entry.reading.reason}. Next: {entry.reading.next}."

    @property
    def groups(self) -> list[tuple[str, list[str]]]:
        """Title and quantities of every group that has some."""
        named = {
            title: [name for name in self.profile.quantities if glossary.group(name) == group]
            for group, title in glossary.GROUPS.items()
        }
        return [(title, names) for title, names in named.items() if names]

    def drawings(self) -> tuple[Drawing, ...]:
        """Draw the figures: times only where gain was reduced, on a log axis only where it has bends."""
        stages = self.profile.measured("release.stages")
        useless = set() if stages is not None and stages.value > 1.5 else {"attack-release-log"}
        if not has_reduction(self.profile):
            useless |= {"attack-release", "attack-release-log"}
        return tuple(one for one in profile_drawings(self.profile, ARTICLE_LOOK) if one.name not in useless)

    @property
    def facts(self) -> str:
        """Capture, stimulus and alignment in one line of small print."""
        profile = self.profile
        capture, stimulus, alignment = profile.capture, profile.stimulus, profile.alignment
        words = (
            f"{capture.file}: {capture.rate_hz / 1000:g} kHz, {capture.bits} bit, "
            f"{capture.channels} channels, {number_text(capture.duration_s, 2)} s, "
            f"SHA-256 {capture.sha256[:16]}…; recipe "
            f"{stimulus.recipe} ({stimulus.hash[:6]}), take {stimulus.take}; "
            f"delay {number_text(alignment.delay_samples, 2)} samples, "
            f"drift {number_text(alignment.drift_ppm, 2)} ppm, "
            f"polarity {'kept' if alignment.polarity > 0 else 'inverted'}; "
            f"charprobe {profile.made_with.version}"
        )
        options = profile.made_with.options.items()
        return words + "".join(f"; {name} {value}" for name, value in options if value is not None)


def shown_of(profiles: Sequence[Profile]) -> list[Shown]:
    """Name every profile by its setting, and by channel and count of repeats where there are several."""
    several = len({profile.channel for profile in profiles}) > 1
    shown: list[Shown] = []
    seen: dict[tuple[str, int], int] = {}
    for number, profile in enumerate(profiles):
        key = (profile.setting, profile.channel)
        series = list(seen).index(key) if key in seen else len(seen)
        seen[key] = seen.get(key, 0) + 1
        name = f"{profile.setting}, channel {profile.channel}" if several else profile.setting
        name += f", repeat {seen[key]}" if seen[key] > 1 else ""
        shown.append(Shown(profile, name, number, series))
    return shown
