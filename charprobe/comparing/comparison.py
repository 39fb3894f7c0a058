"""A comparison: every quantity of every subject, every pair's difference, and where both are written."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from charprobe.comparing.curves import CURVES
from charprobe.comparing.equivalence import RISK, Gap
from charprobe.comparing.subjects import Subject
from charprobe.files import output
from charprobe.files.text_tables import csv_text, markdown, markdown_table
from charprobe.profile import glossary
from charprobe.profile.glossary.row import Margin
from charprobe.values.editors_digits import edited_number, places_borne, spread_text
from charprobe.values.quantity import Quantity, Reading
from charprobe.values.wording import display_unit, number_text, readable, rounded_text

NONE = (None, None, None)  # cells of what has no number
NOTHING = ("cannot tell", "none", "both none")  # verdict by the number of sides that have no such thing


@dataclass(frozen=True)
class Difference:
    """One quantity or curve of one pair of subjects.

    `first` and `second` count subjects from 0; `unit` is that of a difference (dB between two levels
    in dBFS); `gap` is second less first, or second over first where the margin's scale is "ratio"; it is
    None, with a `reason`, where a side has no number. `least` is what a bound on one side leaves: the gap
    is at least so far from none, in that direction. `none` counts sides that have no such thing at all, such
    as an attack without reduction, and `reason` says which. `span` is the stretch of the axis that two curves
    were compared over.
    """

    name: str
    first: int
    second: int
    unit: str
    margin: Margin
    gap: Gap | None
    reason: str
    least: float | None = None
    none: int = 0
    span: tuple[float, float] | None = None

    @property
    def verdict(self) -> str:
        """One of "same", "different", "none" (on one side), "both none" and "cannot tell"."""
        if self.gap is not None:
            return self.gap.verdict
        if self.least is not None:
            return "different"
        return NOTHING[self.none]

    @property
    def alike(self) -> str:
        """The verdict where only likeness counts: both none is alike, one none is not."""
        return {"both none": "same", "none": "different"}.get(self.verdict, self.verdict)

    @property
    def text(self) -> str:
        """The difference to a tenth of its margin: "+0.30 dB ± 0.02", "× 3.1 (2.9 to 3.4)"."""
        if self.gap is None:
            if self.least is not None:
                return self._least_text(self.least)
            return self.reason if self.none else f"– ({self.reason})"
        scale, unit = display_unit(self.unit, self.margin.size)
        size = self.margin.size * scale
        if ratio := self.margin.scale == "ratio":
            scale, unit, size = 1.0, "", self.margin.size - 1
        value, low, high = (number * scale for number in (self.gap.value, self.gap.low, self.gap.high))
        places = min(1 - math.floor(math.log10(size)), places_borne((high - low) / 2))
        shown = round(value, places)
        sign = "× " if ratio else "+" if shown > 0 else ""
        number = f"{sign}{number_text(shown, max(0, places))}{' ' if unit else ''}{unit}"
        return f"{number} {spread_text(shown, low, high, places)}".rstrip()

    @property
    def short(self) -> str:
        """The difference in few digits and without its interval: "+0.3 dB", "× 3.1"."""
        if self.gap is None:
            return self.text
        if self.margin.scale == "ratio":
            return f"× {edited_number(self.gap.value, '1')}"
        return f"{'+' if self.gap.value > 0 else ''}{edited_number(self.gap.value, self.unit)}"

    def _least_text(self, least: float) -> str:
        if self.margin.scale == "ratio":
            return f"× {rounded_text(least)} or {'more' if least > 1 else 'less'}"
        scale, unit = display_unit(self.unit, self.margin.size)
        return f"{'+' if least > 0 else ''}{rounded_text(least * scale)} {unit} or beyond"

    @property
    def margin_text(self) -> str:
        """The margin in words, such as "±0.1 dB" or "a factor of 1.1"."""
        if self.margin.scale == "ratio":
            return f"a factor of {rounded_text(self.margin.size)}"
        scale, unit = display_unit(self.unit, self.margin.size)
        return f"±{rounded_text(self.margin.size * scale)} {unit}".rstrip()


@dataclass(frozen=True)
class Comparison:
    """What a set of profiles says about each other.

    Attributes
    ----------
    subjects : tuple of Subject
        What is compared, each with its repeats.
    values : mapping of str to tuple of (Reading or None)
        Quantity -> reading of every subject, repeats combined; None where no profile has the quantity.
    differences : tuple of Difference
        Every compared quantity and curve of every pair.
    sentences : tuple of str
        What can be said in print, each resting on the differences.
    notes : tuple of str
        How the verdicts came about.
    """

    subjects: tuple[Subject, ...]
    values: dict[str, tuple[Reading | None, ...]]
    differences: tuple[Difference, ...]
    sentences: tuple[str, ...]
    notes: tuple[str, ...]

    def save(self, folder: Path, *, force: bool) -> tuple[Path, ...]:
        """Write ``values.csv``, ``differences.csv``, ``dictionary.csv`` and ``comparison.md`` to a folder.

        `OutputError` if a file exists and `force` is false, or cannot be written.
        """
        texts = {
            "values.csv": self.values_csv(),
            "differences.csv": self.differences_csv(),
            "dictionary.csv": self.dictionary_csv(),
            "comparison.md": self.markdown(),
        }
        return output.write_texts(folder, texts, force=force)

    def values_csv(self) -> str:
        """Return one row per subject; three columns per quantity: value and both ends of its interval."""
        header, columns = ["subject", "repeats [1]"], []
        for name, readings in self.values.items():
            unit = glossary.term(name).unit
            header += [f"{name} [{unit}]", f"{name} low [{unit}]", f"{name} high [{unit}]"]
            columns.append([(r.value, r.low, r.high) if isinstance(r, Quantity) else NONE for r in readings])
        rows = [
            [subject.label, len(subject.repeats), *(cell for column in columns for cell in column[i])]
            for i, subject in enumerate(self.subjects)
        ]
        return csv_text(header, rows)

    def differences_csv(self) -> str:
        """Return one row per quantity or curve and pair; numbers are in the row's own unit."""
        header = ["quantity", "first", "second", "kind", "unit"]
        header += [f"{word} [unit]" for word in ("value", "low", "high", "margin")]
        header += ["verdict", "reason"]
        return csv_text(header, [self._difference_row(item) for item in self.differences])

    def dictionary_csv(self) -> str:
        """Return name, unit, definition, margin and the margin's reason of all that is compared."""
        margins = {item.name: item for item in self.differences}
        names = [*self.values, *(name for name in CURVES if name in margins)]
        rows = []
        for name in names:
            unit, definition = _meaning(name)
            margin = (margins[name].margin_text, margins[name].margin.reason) if name in margins else ("", "")
            rows.append([name, unit, definition, *margin])
        return csv_text(["name", "unit", "definition", "margin", "reason for the margin"], rows)

    def markdown(self) -> str:
        """Return sentences, values and verdicts as a Markdown page."""
        labels = [subject.label for subject in self.subjects]
        values = [
            [glossary.term(name).title, *("" if item is None else readable(item).text for item in readings)]
            for name, readings in self.values.items()
        ]
        rows = [
            [title_of(d.name), labels[d.first], labels[d.second], d.text, d.margin_text, d.verdict]
            for d in self.differences
            if d.gap is not None or d.least is not None or d.none
        ]
        return (
            "# Comparison\n\n"
            + "".join(f"- {markdown(text)}\n" for text in self.sentences)
            + "\n## Values\n\n"
            + markdown_table(["", *labels], values)
            + "\n## Differences\n\n"
            + markdown_table(["", "first", "second", "second re first", "margin", "verdict"], rows)
            + "\n## How to read this\n\n"
            + "".join(f"- {markdown(text)}\n" for text in self.notes)
        )

    def text(self) -> str:
        """Return sentences, a count of verdicts and the notes for the terminal."""
        verdicts = [item.verdict for item in self.differences]
        words = ("same", "different", "none", "both none", "cannot tell")
        counts = ", ".join(f"{count} {word}" for word in words if (count := verdicts.count(word)))
        lines = [*self.sentences, "", f"{len(self.subjects)} compared in {len(verdicts)} ways: {counts}"]
        return "\n".join([*lines, "", *(f"Note: {text}" for text in self.notes)])

    def _difference_row(self, item: Difference) -> list[str | int | float | None]:
        numbers = (item.gap.value, item.gap.low, item.gap.high) if item.gap else NONE
        return [
            item.name,
            self.subjects[item.first].label,
            self.subjects[item.second].label,
            item.margin.scale,
            "1" if item.margin.scale == "ratio" else item.unit,
            *(None if number is None else float(f"{number:.6g}") for number in numbers),
            item.margin.size,
            item.verdict,
            item.reason,
        ]


def title_of(name: str) -> str:
    """Return the title of a quantity or a curve that is compared as a whole."""
    return (CURVES[name] if name in CURVES else glossary.term(name)).title


def in_sentence(name: str) -> str:
    """Return a title as it stands inside a sentence: "make-up gain", but "THD at reference"."""
    title = title_of(name)
    return title[0].lower() + title[1:] if title[1:2].islower() else title


def notes_on(*, repeated: bool, tests: int) -> tuple[str, ...]:
    """Return how the verdicts of a comparison came about, in sentences."""
    repeats = (
        "Repeats are averaged; where they scatter more than their own intervals say, the scatter counts."
        if repeated
        else "No setting was captured twice: intervals hold the noise of one capture, not what moves "
        "between two. Capture at least one setting again to see that."
    )
    return (
        '"same": shown to lie inside the margin; "different": shown to lie outside it; otherwise "cannot '
        'tell". "none": one side has no such thing; "both none": neither has. '
        f"The risk of one wrong verdict of a kind in all {tests} is at most {100 * RISK:g} %.",
        "Intervals are the plain 95 % ones of each difference; verdicts use wider ones, for many are made.",
        repeats,
    )


def _meaning(name: str) -> tuple[str, str]:
    if name in CURVES:
        return "dB", CURVES[name].definition
    return glossary.term(name).unit, glossary.term(name).definition
