"""Profiles: everything measured on one channel of one setting, and its JSON file there and back."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from numpy.typing import NDArray

from charprobe.files import output
from charprobe.files.checked_model import checked
from charprobe.files.strict_json import Json
from charprobe.files.untrusted import json_content, read_text
from charprobe.profile import glossary
from charprobe.profile.digits import PLACE_DIGITS, rounded, rounded_entry, rounded_health, rounded_table
from charprobe.profile.entry import Entry, Health, Table
from charprobe.profile.facts import AlignmentFacts, CaptureFacts, MadeWith, StimulusFacts
from charprobe.profile.json_form import FILE, SCHEMA, ProfileForm, render
from charprobe.profile.notebook import column_arrays, data_frame, html_table, not_held
from charprobe.profile.told import Told
from charprobe.values.errors import ProfileError
from charprobe.values.quantity import Quantity, Reading


@dataclass(frozen=True)
class Profile:
    """One channel of one setting.

    Numbers are rounded on construction (six significant digits, more where an interval needs them), so a
    profile in memory equals the same profile read back from its file.

    Attributes
    ----------
    setting : str
        The user's name of the setting, literally.
    channel : int >= 1
        Channel of the capture, counted from 1.
    capture, stimulus, alignment, made_with
        Where the numbers come from.
    quantities : mapping of str to Entry
        Published name -> reading and conditions, in the glossary's order; an `Unmeasured` has no conditions.
    curves : mapping of str to Table
        Curve name -> table, sorted by name.
    health : tuple of Health
        What was wrong or worth knowing; the worst first.
    findings : tuple of str
        Plain sentences drawn from the quantities.

    Raises
    ------
    ValueError
        If a quantity is not in the glossary or has another unit there, or a number is not finite.
    """

    setting: str
    channel: int
    capture: CaptureFacts
    stimulus: StimulusFacts
    alignment: AlignmentFacts
    quantities: Mapping[str, Entry]
    curves: Mapping[str, Table]
    health: tuple[Health, ...]
    findings: tuple[str, ...]
    made_with: MadeWith

    def __post_init__(self) -> None:
        for name, entry in self.quantities.items():
            if name not in glossary.TERMS:
                raise ValueError(f"quantity {name!r} is not in the glossary")
            unit = glossary.term(name).unit
            if entry.reading.unit != unit:
                raise ValueError(f"{name} is in {entry.reading.unit!r}, the glossary says {unit!r}")
        order = [name for name in glossary.TERMS if name in self.quantities]
        settled = {
            "capture": dataclasses.replace(
                self.capture, duration_s=rounded(self.capture.duration_s, PLACE_DIGITS)
            ),
            "alignment": AlignmentFacts(
                rounded(self.alignment.delay_samples, PLACE_DIGITS),
                rounded(self.alignment.drift_ppm),
                int(self.alignment.polarity),
            ),
            "quantities": {name: rounded_entry(self.quantities[name]) for name in order},
            "curves": {name: rounded_table(self.curves[name]) for name in sorted(self.curves)},
            "health": tuple(sorted((rounded_health(item) for item in self.health), key=_health_order)),
            "findings": tuple(self.findings),
        }
        for name, value in settled.items():
            object.__setattr__(self, name, value)

    def __getitem__(self, name: str) -> Reading:
        """The reading published under a name, measured or not; `KeyError` names near ones if not held."""
        if name not in self.quantities:
            raise not_held("quantity", name, self.quantities)
        return self.quantities[name].reading

    def reading(self, name: str) -> Reading | None:
        """The reading published under a name, measured or not; None if there is none."""
        entry = self.quantities.get(name)
        return None if entry is None else entry.reading

    def measured(self, name: str) -> Quantity | None:
        """The reading if there is a number, else None; `KeyError` if no profile holds such a quantity."""
        if name not in glossary.TERMS:
            raise not_held("quantity", name, self.quantities)
        reading = self.reading(name)
        return reading if isinstance(reading, Quantity) else None

    def told(self, kind: Told, of: str = "") -> str:
        """The first finding of a kind, or that of them which speaks of something; "" if there is none."""
        return next((text for text in self.findings if text.startswith(kind) and of in text), "")

    def curve(self, name: str) -> dict[str, NDArray[Any]]:
        """Columns of a curve as arrays; missing numbers are NaN. `KeyError` names near curves if not held."""
        return column_arrays(self._table(name))

    def frame(self, name: str) -> Any:
        """The same as a pandas DataFrame; `ImportError` where pandas is not installed."""
        return data_frame(self._table(name))

    def why_no_curve(self, name: str) -> str:
        """Return what took a curve back, "" where nothing did: codes of findings, whose messages say more."""
        needs = glossary.CURVES.get(name, ())
        return ", ".join(dict.fromkeys(item.code for item in self.health if item.takes_back(*needs)))

    def _table(self, name: str) -> Table:
        why = "" if name in self.curves else self.why_no_curve(name)
        if why:
            raise KeyError(f"the curve {name!r} is not given because of {why}: see `health`")
        if name not in self.curves:
            raise not_held("curve", name, self.curves)
        return self.curves[name]

    def _repr_html_(self) -> str:
        return html_table(f"{self.setting}, channel {self.channel}", self.quantities)

    def to_json(self) -> str:
        """Return the profile as strict JSON text; the same profile always gives the same text."""
        table: dict[str, Json] = {
            "schema": SCHEMA,
            "setting": self.setting,
            "channel": self.channel,
            "capture": dataclasses.asdict(self.capture),
            "stimulus": dataclasses.asdict(self.stimulus),
            "alignment": dataclasses.asdict(self.alignment),
            "quantities": {name: _entry_table(name, entry) for name, entry in self.quantities.items()},
            "curves": {
                name: {"columns": curve.columns, "units": curve.units} for name, curve in self.curves.items()
            },
            "health": [dataclasses.asdict(item) for item in self.health],
            "findings": list(self.findings),
            "made_with": {
                "version": self.made_with.version,
                "options": dict(sorted(self.made_with.options.items())),
            },
        }
        return render(table)

    @classmethod
    def from_json(cls, text: str, *, source: str) -> Profile:
        """Check the JSON text of a profile and build it; `source` names it in messages.

        Raises
        ------
        ProfileError
            If the text is not strict JSON, does not follow the schema, or contradicts itself.
        """
        form = checked(json_content(text, FILE, source=source), ProfileForm)
        try:
            return cls(
                setting=form.setting,
                channel=form.channel,
                capture=form.capture,
                stimulus=form.stimulus,
                alignment=form.alignment,
                quantities={name: row.entry() for name, row in form.quantities.items()},
                curves=form.curves,
                health=tuple(Health(**vars(row)) for row in form.health),
                findings=form.findings,
                made_with=form.made_with,
            )
        except ValueError as error:
            raise ProfileError(
                f"{source}: {error}; edited by hand, or written by another version of charprobe? "
                "Measure the capture again"
            ) from None

    def save(self, path: str | Path, *, force: bool = False) -> None:
        """Write the profile to `path`, whole or not at all.

        Raises
        ------
        OutputError
            If the file exists and `force` is false, or cannot be written.
        """
        output.write_text(Path(path), self.to_json(), force=force)


def load_profile(path: str | Path) -> Profile:
    """Read a profile file.

    Raises
    ------
    ProfileError
        If the file is missing, too large, or not a valid profile.
    """
    path = Path(path)
    return Profile.from_json(read_text(path, FILE), source=str(path))


def _health_order(item: Health) -> tuple[int, str, float]:
    return ("stop", "warn", "note").index(item.severity), item.code, item.start_s or 0.0


def _entry_table(name: str, entry: Entry) -> Json:
    reading = entry.reading
    if isinstance(reading, Quantity):
        dbu = entry.dbu and {"value": entry.dbu.value, "low": entry.dbu.low, "high": entry.dbu.high}
        table = {"value": reading.value, "unit": reading.unit, "low": reading.low, "high": reading.high}
        said = {"definition": glossary.term(name).definition, "conditions": entry.conditions}
        return table | said | ({"dbu": dbu} if dbu else {})
    bound = {"at_most": reading.at_most, "at_least": reading.at_least}
    known = {key: value for key, value in bound.items() if value is not None}
    more = {"bound": known, "cause": reading.cause}
    words = {"value": None, "unit": reading.unit, "reason": reading.reason, "next": reading.next}
    return words | {key: value for key, value in more.items() if value}
