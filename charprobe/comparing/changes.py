"""What changed between two sessions of the same questions: firmware, model, unit, or a year of use."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from charprobe.comparing.compare import compare_subjects
from charprobe.comparing.comparison import Comparison, Difference, title_of
from charprobe.comparing.subjects import Subject, copies_in
from charprobe.files import output
from charprobe.files.text_tables import Row, csv_text, markdown, markdown_table
from charprobe.profile.profile import Profile, load_profile
from charprobe.values.errors import ProfileError
from charprobe.values.wording import literal

Grouped = dict[tuple[str, int], tuple[Profile, ...]]


@dataclass(frozen=True)
class SettingChange:
    """One channel of one setting, before and after."""

    setting: str
    channel: int
    comparison: Comparison

    @property
    def changed(self) -> tuple[Difference, ...]:
        """What is different."""
        return tuple(item for item in self.comparison.differences if item.verdict == "different")

    @property
    def sentence(self) -> str:
        """What changed, or that nothing did, in words."""
        name = f"{literal(self.setting)}, channel {self.channel}"
        verdicts = [item.verdict for item in self.comparison.differences]
        rest = f"{verdicts.count('same')} the same, {verdicts.count('cannot tell')} cannot be told"
        if not self.changed:
            return f"{name}: no change shown ({rest})."
        what = "; ".join(f"{title_of(item.name)} {item.text}" for item in self.changed)
        return f"{name}: {what} ({rest})."


@dataclass(frozen=True)
class Changes:
    """All settings that two sessions share, and those that only one has."""

    settings: tuple[SettingChange, ...]
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]

    def text(self) -> str:
        """Return what changed, one line a setting, for the terminal."""
        lines = [item.sentence for item in self.settings]
        lines += [f"Only before: {literal(name)}" for name in self.only_before]
        lines += [f"Only after: {literal(name)}" for name in self.only_after]
        return "\n".join(lines)

    def save(self, folder: Path, *, force: bool) -> tuple[Path, ...]:
        """Write ``changes.csv`` (only what changed) and ``changes.md`` to a folder.

        `OutputError` if a file exists and `force` is false, or cannot be written.
        """
        texts = {"changes.csv": self.csv(), "changes.md": self.markdown()}
        return output.write_texts(folder, texts, force=force)

    def csv(self) -> str:
        """Return one row per change; value, low and high are in the row's unit, or a factor."""
        header = ["setting", "channel [1]", "quantity", "kind", "unit"]
        header += ["value [unit]", "low [unit]", "high [unit]"]
        rows: list[Row] = [
            [
                change.setting,
                change.channel,
                item.name,
                item.margin.scale,
                "1" if item.margin.scale == "ratio" else item.unit,
                *((item.gap.value, item.gap.low, item.gap.high) if item.gap else (item.least, None, None)),
            ]
            for change in self.settings
            for item in change.changed
        ]
        return csv_text(header, rows)

    def markdown(self) -> str:
        """Return changes as a Markdown page, with how the verdicts came about."""
        rows = [
            [f"{change.setting}, channel {change.channel}", title_of(item.name), item.text, item.margin_text]
            for change in self.settings
            for item in change.changed
        ]
        notes = self.settings[0].comparison.notes if self.settings else ()
        return (
            "# Changes\n\n"
            + "".join(f"- {markdown(line)}\n" for line in self.text().splitlines())
            + "\n"
            + markdown_table(["setting", "quantity", "after re before", "margin"], rows)
            + "\n"
            + "".join(f"- {markdown(note)}\n" for note in notes)
        )


def changes_between(before: Sequence[Profile], after: Sequence[Profile]) -> Changes:
    """Compare every setting and channel that two sets of profiles share, before against after.

    `ProfileError` if they share none, or share a recording.
    """
    old, new = _grouped(before), _grouped(after)
    shared = [key for key in old if key in new]
    if not shared:
        raise ProfileError(
            "the two sessions share no setting: settings are paired by name and channel, so call them alike "
            "in both"
        )
    copies = copies_in([*before, *after])
    for double in (after[number - len(before)] for number, first in copies if number >= len(before) > first):
        raise ProfileError(
            f"{literal(double.capture.file)}, channel {double.channel}, is in both sessions: a recording "
            "compared with itself shows no change whatever the device does"
        )
    settings = tuple(
        SettingChange(
            *key,
            compare_subjects((Subject("before", old[key]), Subject("after", new[key])), sets=len(shared)),
        )
        for key in shared
    )
    return Changes(settings, _names(old, new), _names(new, old))


def load_profiles(folder: Path) -> list[Profile]:
    """Return the profiles of a session's folder, by file name; `ProfileError` if it holds none."""
    inside = folder / "profiles" if (folder / "profiles").is_dir() else folder
    paths = sorted(inside.glob("*.json"))
    if not paths:
        raise ProfileError(f"{folder}: no profiles here; name the folder that `charprobe session` wrote")
    return [load_profile(path) for path in paths]


def _grouped(profiles: Sequence[Profile]) -> Grouped:
    keys = dict.fromkeys((profile.setting, profile.channel) for profile in profiles)
    return {key: tuple(p for p in profiles if (p.setting, p.channel) == key) for key in keys}


def _names(own: Grouped, other: Grouped) -> tuple[str, ...]:
    return tuple(
        f"{setting}, channel {channel}" for setting, channel in own if (setting, channel) not in other
    )
