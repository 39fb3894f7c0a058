"""One self-contained HTML page for a set of profiles: made to be looked at first, and to need no network."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from string import Template
from typing import Protocol

from charprobe.comparing.comparison import Comparison
from charprobe.files import output
from charprobe.profile import glossary
from charprobe.profile.profile import Profile, measured
from charprobe.publishing.figures.all_figures import profile_drawings, set_drawings
from charprobe.publishing.figures.drawing import Drawing
from charprobe.publishing.figures.overlay import has_reduction
from charprobe.publishing.figures.palette import DARK, LIGHT, Palette
from charprobe.publishing.figures.style import ARTICLE_LOOK
from charprobe.publishing.report.beside import Beside, links_to
from charprobe.publishing.report.card import figure, setting_card
from charprobe.publishing.report.markup import EMPTY, Html, element, joined
from charprobe.publishing.report.overview import Shown, glance_table, pair_table, sentences
from charprobe.publishing.report.terms import definition_list, definitions
from charprobe.values.quantity import Quantity, Reading
from charprobe.values.wording import display_unit, readable, rounded_text

METHOD = (
    "A known stimulus was played through the stage and recorded; what is said here comes from that alone.",
    "Levels are those of fitted sines: a full-scale sine is 0 dBFS. Input levels are what the bypass capture "
    "shows for the same step; without one they are the stimulus's, and what needs a bypass is not given.",
    "Attack and release are read from the gain at every sample, found from bursts repeated at several phases "
    "of their carrier. Percentages are of the gain change in dB between settled gains; the times run from "
    "the edge of the input.",
    "Captures are never resampled for a measurement: frequencies are fitted, delay and drift come from "
    "markers at both ends.",
    "Intervals are 95 %. What could not be measured has no number, but a reason and the next test to make.",
)


class Truth(Protocol):
    """A true value of a simulated device beside what was measured."""

    @property
    def stage(self) -> str:
        """Setting or device."""

    @property
    def quantity(self) -> str:
        """Published name."""

    @property
    def truth(self) -> float:
        """The true value, in `unit`."""

    @property
    def unit(self) -> str:
        """Unit of the quantity."""

    @property
    def reading(self) -> Reading:
        """What was measured."""

    @property
    def verdict(self) -> str:
        """In a word or two whether both agree."""


class Checked(Protocol):
    """A claim made of settings, with its answer."""

    @property
    def text(self) -> str:
        """The claim in words."""

    @property
    def answer(self) -> str:
        """Supported, contradicted, or not enough evidence."""

    @property
    def because(self) -> str:
        """What the answer rests on, or lacks."""


def render_page(
    profiles: Sequence[Profile],
    *,
    title: str,
    about: str = "",
    comparison: Comparison | None = None,
    channel_comparisons: Sequence[tuple[str, Comparison]] = (),
    claims: Sequence[Checked] = (),
    truth: Sequence[Truth] = (),
    command: str = "",
    files: Sequence[Beside] = (),
) -> str:
    """Return the page of a set of profiles.

    Parameters
    ----------
    profiles : sequence of Profile
        At least one, in the order of the page.
    title, about : str
        Heading and one paragraph below it, shown literally.
    comparison : Comparison or None
        What `compare_profiles` says about the profiles.
    channel_comparisons : sequence of (str, Comparison)
        Name of a setting, and what its channels say about each other.
    claims : sequence of Checked
        Claims made of the settings, with their answers.
    truth : sequence of Truth
        True values of simulated devices, to be shown beside the estimates.
    command : str
        The command that makes the page again, shown literally.
    files : sequence of Beside
        Files below the page's folder that it links to.

    Returns
    -------
    str
        HTML that loads nothing by itself; the same input gives the same text.
    """
    shown = _shown(profiles)
    firsts = [
        item for i, item in enumerate(shown) if item.series not in [other.series for other in shown[:i]]
    ]
    overlays = set_drawings([item.profile for item in firsts], [item.name for item in firsts], ARTICLE_LOOK)
    used = [name for name in glossary.TERMS if any(name in profile.quantities for profile in profiles)]
    sections = {
        "glance": ("At a glance", element("div", glance_table(shown), class_="scroll")),
        "apart": ("What sets them apart", _apart(comparison)),
        "channels": ("Channel by channel", _channels(channel_comparisons)),
        "claims": ("Claims", _claims(claims)),
        "overlays": ("Laid over each other", _figures(overlays)),
        "settings": ("Setting by setting", _cards(shown)),
        "truth": ("Truth beside estimate", _truth_table(truth)),
        "method": ("How it was measured", _method(comparison, command)),
        "files": ("The numbers as files", links_to(files)),
        "words": ("What the words mean", definition_list(used)),
    }
    kept = {anchor: part for anchor, part in sections.items() if part[1] != EMPTY}
    folder = resources.files("charprobe.publishing.report")
    return Template((folder / "page.html").read_text(encoding="utf-8")).substitute(
        title=element("title", title).code,
        style=_variables() + (folder / "page.css").read_text(encoding="utf-8"),
        heading=element("h1", title).code,
        about=element("p", about, class_="about").code if about else "",
        links=joined(element("a", part[0], href=f"#{anchor}") for anchor, part in kept.items()).code,
        sections=joined(
            element("section", element("h2", part[0]), part[1], id_=anchor) for anchor, part in kept.items()
        ).code,
        definitions=definitions(used).code,
        version=element("span", f"charprobe {profiles[0].made_with.version}").code,
    )


def write_page(path: Path, page: str, *, force: bool) -> None:
    """Write a page, whole or not at all.

    Raises
    ------
    OutputError
        If the file exists and `force` is false, or cannot be written.
    """
    output.write_text(path, page, force=force)


def _shown(profiles: Sequence[Profile]) -> list[Shown]:
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


def _apart(comparison: Comparison | None) -> Html:
    if comparison is None:
        return EMPTY
    return joined([sentences(comparison), element("div", pair_table(comparison), class_="scroll")])


def _channels(comparisons: Sequence[tuple[str, Comparison]]) -> Html:
    return joined(
        part for name, comparison in comparisons for part in (element("h3", name), sentences(comparison))
    )


def _claims(claims: Sequence[Checked]) -> Html:
    if not claims:
        return EMPTY
    head = element("tr", *(element("th", word, scope="col") for word in ("Claim", "Answer", "Because")))
    rows = [
        element(
            "tr",
            element("th", claim.text, scope="row"),
            element("td", claim.answer, class_="off" if claim.answer == "contradicted" else None),
            element("td", claim.because),
        )
        for claim in claims
    ]
    table = element("table", element("thead", head), element("tbody", *rows), class_="claims")
    return element("div", table, class_="scroll", tabindex="0")


def _figures(drawings: Sequence[Drawing]) -> Html:
    if not drawings:
        return EMPTY
    parts = [figure(drawing, prefix=f"o{i}") for i, drawing in enumerate(drawings, start=1)]
    return element("div", *parts, class_="figures")


def _cards(shown: Sequence[Shown]) -> Html:
    return joined(setting_card(item, _card_drawings(item.profile)) for item in shown)


def _card_drawings(profile: Profile) -> tuple[Drawing, ...]:
    """Draw a setting's figures: times only where gain was reduced, on a log axis only where it has bends."""
    stages = measured(profile, "release.stages")
    bent = stages is not None and stages.value > 1.5
    drawings = profile_drawings(profile, ARTICLE_LOOK)
    useless = {"attack-release-log"} if not bent else set()
    if not has_reduction(profile):
        useless |= {"attack-release", "attack-release-log"}
    return tuple(one for one in drawings if one.name not in useless)


def _truth_table(rows: Sequence[Truth]) -> Html:
    if not rows:
        return EMPTY
    head = element(
        "tr",
        *(
            element("th", word, scope="col")
            for word in ("Setting", "Quantity", "Truth", "Measured", "Verdict")
        ),
    )
    body = [
        element(
            "tr",
            element("th", row.stage, scope="row"),
            element("td", glossary.term(row.quantity).title),
            element("td", _truth_words(row)),
            element("td", readable(row.reading).text),
            element("td", row.verdict, class_="good" if row.verdict in ("good", "bound holds") else "off"),
        )
        for row in rows
    ]
    note = "The devices are simulated, so the true values are known. They were not used to measure."
    table = element("table", element("thead", head), element("tbody", *body), class_="truth")
    return joined([element("p", note), element("div", table, class_="scroll", tabindex="0")])


def _truth_words(row: Truth) -> str:
    """Return the true value in the unit its reading is shown in."""
    shown = row.reading.value if isinstance(row.reading, Quantity) else row.truth
    scale, unit = display_unit(row.unit, shown)
    return f"{rounded_text(row.truth * scale, 6)}{'' if unit == ':1' else ' '}{unit}".rstrip()


def _method(comparison: Comparison | None, command: str) -> Html:
    notes = [*METHOD, *(comparison.notes if comparison else ())]
    parts = [element("ul", *(element("li", note) for note in notes))]
    if command:
        parts.append(element("p", "Made by ", element("code", command)))
    return joined(parts)


def _variables() -> str:
    """Return the page's colours, light and dark, as variables of its style sheet."""

    def one(palette: Palette) -> str:
        names = ("paper", "ink", "soft", "grid", "shade")
        lines = [f"--{name}: {getattr(palette, name)};" for name in names]
        lines += [f"--series-{i}: {colour};" for i, colour in enumerate(palette.series)]
        return " ".join(lines)

    return (
        f":root {{ color-scheme: light; {one(LIGHT)} }}\n"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ color-scheme: dark; {one(DARK)} }} }}\n"
    )
