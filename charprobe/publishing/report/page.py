"""One self-contained HTML page for a set of profiles: made to be looked at first, and to need no network."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from importlib import resources
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup, escape

from charprobe.comparing.comparison import Comparison
from charprobe.profile import glossary
from charprobe.profile.entry import where_text
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.all_figures import set_drawings
from charprobe.publishing.figures.look.fonts import faces_css
from charprobe.publishing.figures.look.palette import DARK, LIGHT
from charprobe.publishing.figures.look.style import ARTICLE_LOOK
from charprobe.publishing.figures.overlay import members
from charprobe.publishing.listen.tracks import Listening
from charprobe.publishing.report.card import shown_of
from charprobe.publishing.report.channels import channel_table
from charprobe.publishing.report.charts import charts_json
from charprobe.publishing.report.glance import overviews_of
from charprobe.publishing.report.inline_svg import InPage, in_page
from charprobe.publishing.report.methods import methods_paragraph
from charprobe.publishing.report.pairs import SIGNS, pairs_of
from charprobe.publishing.report.truth_row import TruthRow
from charprobe.session.claims import CheckedClaim
from charprobe.values.quantity import Quantity
from charprobe.values.wording import counted, display_unit, literal, number_text, readable, rounded_text

if TYPE_CHECKING:
    from charprobe.publishing.listen.replicas import Forecast  # loads what plays


@dataclass(frozen=True)
class Beside:
    """A file below the page's own folder, and what is in it."""

    path: PurePosixPath
    holds: str

    def __post_init__(self) -> None:
        if self.path.is_absolute() or ".." in self.path.parts:
            raise ValueError(f"{self.path} does not lie below the page")

    @property
    def link(self) -> str:
        """The file's address from the page."""
        return "./" + quote(str(self.path))


def tables_beside(folder: str, what: str) -> list[Beside]:
    """Return the tables of a comparison that lie in a folder below the page; `what` is compared."""
    holds = {
        "values.csv": "every quantity with its interval",
        "differences.csv": "differences, margins and verdicts",
        "dictionary.csv": "units, definitions and reasons for the margins",
    }
    return [Beside(PurePosixPath(folder, name), f"{text}, {what}") for name, text in holds.items()]


SETTLED = "Settled points, the worst"  # of a static curve: true values are known of it, it is no quantity
FIRST_SAID = 2  # sentences on what differs that stand on the first screen; the others come below
PARTS = {
    "glance": "What each setting does",
    "listen": "Listen",
    "programme": "What each setting will do to programme",
    "apart": "What sets them apart",
    "beside": "Beside devices measured earlier",
    "channels": "Channel by channel",
    "claims": "Claims",
    "overlays": "All settings in one figure",
    "settings": "All figures and numbers",
    "truth": "Truth beside estimate",
    "method": "How it was measured",
    "files": "The numbers as files",
    "words": "What the words mean",
}
"""Parts of the page from top to bottom: id, which names its template and its data, and heading."""


def render_page(
    profiles: Sequence[Profile],
    *,
    title: str,
    about: str = "",
    comparison: Comparison | None = None,
    channel_comparisons: Sequence[tuple[str, Comparison]] = (),
    claims: Sequence[CheckedClaim] = (),
    truth: Sequence[TruthRow] = (),
    command: str = "",
    files: Sequence[Beside] = (),
    beside: Sequence[str] = (),
    listening: Sequence[Listening] = (),
    sounds_beside: bool = False,
    forecast: Forecast | None = None,
    drawn: Iterable[tuple[str, Sequence[InPage]]] = (),
) -> str:
    """Return the page of a set of profiles: HTML that loads nothing by itself, always the same.

    There is at least one profile, in the order of the page: every channel and every take. `comparison` is
    what `compare_profiles` says of them, `channel_comparisons` what the channels of each setting say of each
    other; `truth` are true values of simulated devices. `title`, `about` and `command`, which makes the page
    again, are shown literally; `files` lie below the page's folder. `sounds_beside` tells that
    `Listening.write` put the sounds beside the page; otherwise they go inside. `drawn` gives the figures of
    settings where others draw them (`Shown.figures`), by name, and is asked last.
    """
    shown = shown_of(profiles)
    every = members([one.profile for one in shown], [one.name for one in shown])
    names = [name for name in glossary.TERMS if any(name in profile.quantities for profile in profiles)]
    content: dict[str, Any] = {
        "glance": shown,
        "listen": listening,
        "programme": forecast,
        "apart": comparison,
        "beside": beside,
        "channels": channel_table(channel_comparisons) if channel_comparisons else None,
        "claims": claims,
        "overlays": in_page(
            set_drawings([one.profile for one in every], [one.name for one in every], ARTICLE_LOOK), "o"
        ),
        "settings": shown,
        "truth": truth,
        "method": methods_paragraph(profiles),
        "files": files,
        "words": {name: glossary.term(name) for name in names},
    }
    page = _templates().get_template("page.html")
    return page.render(
        content,
        parts={anchor: heading for anchor, heading in PARTS.items() if content[anchor]},
        title=title,
        about=about,
        command=Markup(escape(literal(command))),  # to be copied, character by character
        signs=SIGNS,
        channel_sentences=[
            f"{name}: {line}" for name, told in channel_comparisons for line in told.sentences
        ],
        FIRST_SAID=FIRST_SAID,
        overviews=overviews_of(shown),
        pairs=pairs_of(comparison) if comparison is not None else None,
        faces=Markup(faces_css()),
        scripts=(*scripts(), *((Markup(_script("player.js")),) if listening else ())),
        sounds={} if sounds_beside else {one.folder: Markup(one.script()) for one in listening},
        sounds_beside=sounds_beside and bool(listening),
        sound_files=_sound_files(listening),
        charts=charts_json(every),
        chart_css=Markup(_script("plotting.css")),
        version=profiles[0].made_with.version,
        light=LIGHT,
        dark=DARK,
        drawn=dict(drawn),
    )


def _sound_files(listening: Sequence[Listening]) -> list[Beside]:
    """Return the files of the sounds beside the page."""
    return [
        Beside(PurePosixPath(name), f"{track.name}, turned down by {number_text(-track.gain_db, 1)} dB")
        for one in listening
        for track, name in zip(one.tracks, one.file_names, strict=True)
    ]


@cache
def scripts() -> tuple[Markup, ...]:
    """Return what runs in a page: the plotting library, then what draws the charts with it."""
    return tuple(Markup(_script(name)) for name in ("plotting.js", "charts.js"))


def _script(name: str) -> str:
    folder = resources.files("charprobe.publishing.report") / "scripts"
    return (folder / name).read_text(encoding="utf-8").strip()


def _seal(script: str) -> str:
    """Return what names a script in the page's own rules, so that no other script runs."""
    return f"sha256-{b64encode(sha256(script.encode('utf-8')).digest()).decode()}"


@cache
def _templates() -> Environment:
    """Return the page's templates; what they print is escaped, control characters made visible."""
    folder = resources.files("charprobe.publishing.report") / "templates"
    templates = Environment(
        loader=FunctionLoader(lambda name: (folder / name).read_text(encoding="utf-8")),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=lambda value: _kept_together(literal(value)) if type(value) is str else value,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    templates.filters |= {
        "term": glossary.term,
        "title_of": lambda name: glossary.term(name).title if name in glossary.TERMS else SETTLED,
        "term_anchor": lambda name: "term-" + name.replace(".", "-").replace("_", "-"),
        "place": where_text,
        "counted": counted,
        "readable": readable,
        "seal": _seal,
        "true_words": _true_words,
    }
    return templates


_UNIT = re.compile(
    r"(?<=\d) (?=(?:dB(?:FS|c|u|/dB|/decade)?|ms|s|k?Hz|%|LU|LUFS|ppm|samples)\b|%)"
    r"|(?<=[≤≥±<×]) (?=[−\d])|(?<=t\d\d) (?=×)"
)


def _kept_together(text: str) -> str:
    """Let no line break part a number from its unit, or from its sign."""
    return _UNIT.sub("\u00a0", text)


def _true_words(row: TruthRow) -> str:
    """Return the true value in the unit its reading is shown in."""
    shown = row.reading.value if isinstance(row.reading, Quantity) else row.truth
    scale, unit = display_unit(row.unit, shown)
    return f"{rounded_text(row.truth * scale, 6)}{'' if unit == ':1' else ' '}{unit}".rstrip()
