"""A setting's own card: findings, health, figures, every quantity with definition and conditions."""

from __future__ import annotations

from charprobe.profile import glossary
from charprobe.profile.entry import Health, where_text
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.drawing import Drawing
from charprobe.publishing.report.inline_svg import inline_svg
from charprobe.publishing.report.markup import EMPTY, Html, element, joined
from charprobe.publishing.report.overview import Shown, reading_cell
from charprobe.publishing.report.terms import term_button
from charprobe.values.quantity import Quantity
from charprobe.values.wording import number_text

WORDS = {"stop": "Stop", "warn": "Warning", "note": "Note"}


def setting_card(item: Shown, drawings: tuple[Drawing, ...]) -> Html:
    """Return the card of a setting; `drawings` are its figures in the light article look."""
    profile = item.profile
    found = element("ul", *(element("li", text) for text in profile.findings)) if profile.findings else EMPTY
    figures = [figure(one, prefix=f"s{item.number + 1}f{i}") for i, one in enumerate(drawings, start=1)]
    return element(
        "section",
        element("h3", item.key, item.name, element("small", f"channel {profile.channel}")),
        found,
        health_list(profile.health, anchor=f"{item.anchor}-health"),
        element("div", *figures, class_="figures"),
        quantity_table(profile),
        facts(profile),
        class_="card",
        id_=item.anchor,
        aria_label=f"Setting {item.name}",
    )


def figure(drawing: Drawing, *, prefix: str) -> Html:
    """Return a figure, its name spoken; its own heading and footer show title and conditions."""
    svg = inline_svg(drawing, prefix=prefix)
    box = element("div", svg, class_="scroll", tabindex="0", role="group", aria_label=drawing.title)
    return element("figure", box, element("figcaption", drawing.title, class_="spoken"))


def health_list(items: tuple[Health, ...], *, anchor: str) -> Html:
    """Return what is wrong or worth knowing, the worst first."""
    if not items:
        return element("p", "Health: nothing found wrong.", class_="healthy", id_=anchor)
    rows = [
        element(
            "li",
            element("strong", f"{WORDS[item.severity]} · {item.code}"),
            f" {item.message}",
            element("small", f" {where_text(item)}") if where_text(item) else EMPTY,
            class_=item.severity,
        )
        for item in items
    ]
    return element("ul", *rows, class_="health", id_=anchor)


def quantity_table(profile: Profile) -> Html:
    """Return every quantity, group by group, with interval and conditions, or with reason and next test."""
    bodies = []
    for group, title in glossary.GROUPS.items():
        names = [name for name in profile.quantities if glossary.group(name) == group]
        if names:
            head = element("tr", element("th", title, colspan="3", scope="rowgroup"), class_="group")
            bodies.append(element("tbody", head, *(_quantity_row(profile, name) for name in names)))
    head = element(
        "tr", *(element("th", word, scope="col") for word in ("Quantity", "Reading", "Conditions"))
    )
    table = element("table", element("thead", head), *bodies, class_="quantities")
    return element("details", element("summary", "All quantities"), element("div", table, class_="scroll"))


def _quantity_row(profile: Profile, name: str) -> Html:
    entry = profile.quantities[name]
    if isinstance(entry.reading, Quantity):
        note = entry.conditions
    else:
        note = f"Not measured: {entry.reading.reason}. Next: {entry.reading.next}."
    return element(
        "tr",
        element("th", term_button(name), scope="row"),
        element("td", reading_cell(profile, name)),
        element("td", note),
    )


def facts(profile: Profile) -> Html:
    """Return capture, stimulus and alignment of a profile in one line of small print."""
    capture, stimulus, alignment = profile.capture, profile.stimulus, profile.alignment
    words = (
        f"{capture.file}: {capture.rate_hz / 1000:g} kHz, {capture.bits} bit, {capture.channels} channels, "
        f"{number_text(capture.duration_s, 2)} s, SHA-256 {capture.sha256[:16]}…; recipe {stimulus.recipe} "
        f"({stimulus.hash[:6]}), take {stimulus.take}; "
        f"delay {number_text(alignment.delay_samples, 2)} samples, "
        f"drift {number_text(alignment.drift_ppm, 2)} ppm, "
        f"polarity {'kept' if alignment.polarity > 0 else 'inverted'}; charprobe {profile.made_with.version}"
    )
    options = joined(
        [f"; {name} {value}" for name, value in profile.made_with.options.items() if value is not None]
    )
    return element("p", words, options, class_="facts")
