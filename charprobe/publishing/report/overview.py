"""The first screen of the page: all settings at a glance, what sets them apart, who is like whom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from charprobe.comparing.comparison import Comparison
from charprobe.profile import glossary
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.style import ARTICLE_LOOK
from charprobe.publishing.report.markup import EMPTY, Html, Part, element, joined
from charprobe.publishing.report.terms import term_button
from charprobe.publishing.report.thumbnail import static_thumbnail, swatch, timing_thumbnail
from charprobe.values.quantity import Quantity
from charprobe.values.wording import readable

GLANCE = (
    "static.threshold",
    "static.ratio",
    "static.knee_width",
    "static.makeup_gain",
    "attack.t63",
    "release.t63",
    "release.t90",
    "colour.thd_at_reference",
    "noise.a_weighted",
)
"""Quantities of the overview, left to right; those that no setting has are left out."""

MATRIX = (
    ("static curve, anchored", "curve"),
    ("attack.t63", "attack"),
    ("release.t63", "release"),
    ("colour.thd_at_reference", "colour"),
    ("response", "response"),
)
"""What the table of pairs judges, and the word it uses."""

SIGNS = {"same": "=", "different": "≠", "cannot tell": "?"}
MOST_MATRIX = 12  # settings; beyond, a table of pairs is no longer looked at
SHAPES = (
    '<circle cx="15" cy="6" r="4"/>',
    '<rect x="11.5" y="2.5" width="7" height="7"/>',
    '<path d="M15 1.5 19.5 10 10.5 10z"/>',
    '<path d="M15 1 20 6 15 11 10 6z"/>',
    '<path d="M15 10.5 10.5 2 19.5 2z"/>',
    '<path d="M13.3 1.5h3.4v2.8h2.8v3.4h-2.8v2.8h-3.4v-2.8h-2.8v-3.4h2.8z"/>',
    '<path d="M11 3.5 12.5 2 15 4.5 17.5 2 19 3.5 16.5 6 19 8.5 17.5 10 15 7.5 12.5 10 11 8.5 13.5 6z"/>',
    '<path d="M15 1.5 18.9 3.7 18.9 8.3 15 10.5 11.1 8.3 11.1 3.7z"/>',
)
"""Markers of the figures, drawn small, in the figures' order."""


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
        return f"var(--series-{self.series % len(SHAPES)})"

    @property
    def key(self) -> Html:
        """The setting's line and marker, as overlays draw them."""
        style = ARTICLE_LOOK.series(self.series)["linestyle"]
        dash = None if style == "solid" else " ".join(f"{2 * length:g}" for length in style[1])
        shape = SHAPES[(self.series + self.series // len(SHAPES)) % len(SHAPES)]
        marker = Html(f'<g style="fill:{self.colour}">{shape}</g>')
        return swatch(dash, marker, self.colour)


def glance_table(shown: Sequence[Shown]) -> Html:
    """Return the table of all settings: pictures first, then the main quantities with their intervals."""
    names = [name for name in GLANCE if any(name in item.profile.quantities for item in shown)]
    pictures = any("static" in item.profile.curves for item in shown)
    head: list[Part] = [element("th", "Setting", scope="col")]
    head += [element("th", "In small", scope="col")] if pictures else []
    head += [element("th", term_button(name), scope="col") for name in names]
    rows = [_glance_row(item, names, pictures=pictures) for item in shown]
    return element(
        "table",
        element("caption", "All settings at a glance. Small print: 95 % interval."),
        element("thead", element("tr", *head)),
        element("tbody", *rows),
        class_="glance",
    )


def _glance_row(item: Shown, names: Sequence[str], *, pictures: bool) -> Html:
    link = element("a", item.key, item.name, href=f"#{item.anchor}")
    warned = [health for health in item.profile.health if health.severity != "note"]
    mark = element("a", f"{len(warned)} ⚠", href=f"#{item.anchor}-health", class_="mark") if warned else EMPTY
    cells: list[Part] = [element("th", link, mark, scope="row")]
    if pictures:
        small = (static_thumbnail(item.profile, item.colour), timing_thumbnail(item.profile, item.colour))
        cells.append(element("td", *small, class_="pictures"))
    for name in names:
        cells.append(element("td", reading_cell(item.profile, name), data_label=glossary.term(name).title))
    return element("tr", *cells)


def reading_cell(profile: Profile, name: str) -> Html:
    """Return a quantity for a table: value and unit large, interval small, reason on hover where missing."""
    entry = profile.quantities.get(name)
    if entry is None:
        return element("span", "–", class_="missing", title="not in this profile")
    words = readable(entry.reading)
    value = words.value + ("" if words.unit in ("", ":1") else " ") + words.unit
    if isinstance(entry.reading, Quantity):
        return joined([element("span", value, class_="value"), element("small", words.spread)])
    why = f"{entry.reading.reason}. To settle it: {entry.reading.next}"
    return element("span", value, class_="missing", title=why, tabindex="0")


def sentences(comparison: Comparison) -> Html:
    """Return what can be said in print, as a list."""
    if not comparison.sentences:
        return element("p", "Nothing can be said about how the settings differ.")
    return element("ul", *(element("li", text) for text in comparison.sentences), class_="sentences")


def pair_table(comparison: Comparison) -> Html:
    """Return the table of pairs: for each, what is the same (=), different (≠) or cannot be told (?)."""
    labels = [subject.label for subject in comparison.subjects]
    if len(labels) > MOST_MATRIX:
        return EMPTY
    verdicts = {(d.name, d.first, d.second): d for d in comparison.differences}
    head = element("tr", element("td", ""), *(element("th", label, scope="col") for label in labels[1:]))
    rows = []
    for first, label in enumerate(labels[:-1]):
        cells: list[Part] = [element("th", label, scope="row")]
        for second in range(1, len(labels)):
            lines = []
            for name, word in MATRIX:
                item = verdicts.get((name, first, second))
                if item is not None:
                    kind = item.verdict.replace(" ", "-")
                    text = f"{SIGNS[item.verdict]} {word}"
                    lines.append(
                        element("span", text, class_=f"verdict {kind}", title=f"{item.verdict}: {item.text}")
                    )
            cells.append(element("td", *lines))
        rows.append(element("tr", *cells))
    caption = element(
        "caption", "Pair by pair: = same, ≠ different, ? cannot tell, against the stated margins."
    )
    return element("table", caption, element("thead", head), element("tbody", *rows), class_="pairs")
