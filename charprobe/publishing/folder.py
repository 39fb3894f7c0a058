"""The published folder of a session: page, figures, tables, claims, methods; the same in every run."""

from __future__ import annotations

import contextlib
import shlex
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from itertools import chain
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Literal

from charprobe.files import output
from charprobe.files.sound.sound_file import open_capture
from charprobe.profile.profile import Profile
from charprobe.profile.standing import standing
from charprobe.publishing.figures.look.source import figure_stem
from charprobe.publishing.made import Made, key_of
from charprobe.publishing.session_texts import about_text, captures_csv, claims_text, methods_text
from charprobe.session.file import Session
from charprobe.session.findings import Findings
from charprobe.session.run import REPLICAS, SessionResult
from charprobe.session.side_by_side import side_by_side
from charprobe.values.errors import CharprobeError
from charprobe.values.wording import literal

# what draws and plays is loaded where something new is shown: that takes longer than finding that nothing is
if TYPE_CHECKING:
    from charprobe.publishing.listen.replicas import Forecast
    from charprobe.publishing.listen.tracks import Listening
    from charprobe.publishing.report.page import Beside
    from charprobe.replica.model import Replica

Placing = Literal["beside", "inside", "none"]
DEFAULT_LOOKS: tuple[str, ...] = ("article",)
PREDICTIONS = "tables/predictions.csv"
MOST_CARDS = 24  # settings times channels that get a card on the page; beyond, one channel of each setting


def publish(
    session: Session,
    result: SessionResult,
    findings: Callable[[], Findings],
    folder: Path,
    *,
    jobs: int,
    looks: Sequence[str] = DEFAULT_LOOKS,
    notes: Sequence[str] = (),
    sound: Placing = "beside",
    beside: Sequence[str] = (),
) -> tuple[Path, ...]:
    """Write everything that belongs in print to the session's folder, and return the paths.

    What an earlier run wrote there is replaced where it showed something else; profiles stay where the
    session put them. There is at least one profile. `findings` gives `findings_of` the same session and
    result, asked while others draw, if at all; `notes` say how captures were paired, `beside` what can be
    said of the settings beside devices measured earlier; `looks` are names of `figures.look.style.LOOKS`.
    `sound` tells where the page's sounds go: into a folder beside it, into the page, or nowhere.
    """
    for place in (folder / "tables", folder / "figures"):
        output.prepare_folder(place)
    shown = (session, result.profiles, result.stage_off, result.failures, sound, folder.name, *beside, *notes)
    words = Made(folder / ".published.key", key_of(*shown))
    figures = _Figures(result.profiles, folder, looks, animations=session.animations)
    drawn = figures.begun(jobs)  # in other processes, while the page is made here
    try:
        written = words.there() or words.keep(
            _words(session, result, findings(), folder, notes, sound, beside)
        )
        overlays = figures.overlays()
    except CharprobeError:
        with contextlib.suppress(CharprobeError):  # what was begun is finished: left alone, it complains
            list(drawn)
        raise
    return (*written, *overlays, *(path for paths in drawn for path in paths))


def load_what_draws() -> None:
    """Load what draws, half of which is loaded as a first figure is written; later processes share it."""
    from charprobe.publishing.figures.look.drawing import METADATA, composed
    from charprobe.publishing.figures.look.style import ARTICLE_LOOK
    from charprobe.publishing.report import page as _  # noqa: F401  # to be there before the fork

    blank = composed("", ARTICLE_LOOK, [lambda ax, look: ax], title="-", main="", conditions="", alt="")
    for kind in METADATA:
        blank.rendered(kind)


def _words(
    session: Session,
    result: SessionResult,
    findings: Findings,
    folder: Path,
    notes: Sequence[str],
    sound: Placing,
    beside: Sequence[str],
) -> list[Path]:
    """Write the page, its sounds, the texts and the tables."""
    from charprobe.publishing.report.page import render_page

    tables = folder / "tables"
    command = shlex.join(["charprobe", "session", session.path.name, "--out", folder.name])
    names = list(dict.fromkeys(profile.setting for profile in result.profiles))
    heard = [] if sound == "none" else [_recorded(session, result, names)]
    forecast = None
    if replicas := _replicas(session, result, folder):
        from charprobe.publishing.listen.replicas import forecast_of, heard_through

        heard += [] if sound == "none" else [heard_through(replicas, names)]
        forecast = forecast_of(replicas, names)
    listening = [one for one in heard if one is not None]
    sounds = (
        [path for one in listening for path in one.write(folder, force=True)] if sound == "beside" else []
    )
    page = render_page(
        result.profiles,
        title=session.title,
        about=about_text(session),
        comparison=findings.settings,
        channel_comparisons=findings.channels,
        claims=findings.claims,
        command=command,
        files=_beside(findings, forecast),
        beside=beside,
        listening=listening,
        sounds_beside=sound == "beside",
        forecast=forecast,
    )
    output.write_text(folder / "page.html", page, force=True)
    texts = {
        folder / "methods.md": methods_text(session, result, command, (*notes, *findings.copies)),
        folder / "claims.md": claims_text(findings.claims),
        tables / "captures.csv": captures_csv(result.profiles),
    }
    if forecast is not None:
        texts[folder / PREDICTIONS] = forecast.csv()
    for path, text in texts.items():
        output.write_text(path, text, force=True)
    written = [folder / "page.html", *texts, *sounds]
    if findings.settings is not None:
        written += findings.settings.save(tables / "settings", force=True)
    for name, comparison in findings.channels:
        written += comparison.save(tables / f"channels of {output.safe_file_name(name)}", force=True)
    return written


def _replicas(session: Session, result: SessionResult, folder: Path) -> dict[str, Replica]:
    """Return the replicas of the settings as the page shows them; none where the session asks for none."""
    if not session.replicas:
        return {}
    from charprobe.publishing.listen.replicas import replicas_in
    from charprobe.publishing.report.card import shown_of

    return replicas_in(folder / REPLICAS, [one.profile for one in shown_of(result.profiles)])


def _recorded(session: Session, result: SessionResult, names: Sequence[str]) -> Listening | None:
    """Return what was recorded: the session's own takes, else the programme in the captures."""
    from charprobe.publishing.listen.material import heard_in_captures, heard_in_takes
    from charprobe.publishing.report.card import shown_of

    takes = {one.name: one.heard for one in session.settings if one.heard is not None}
    if session.dry is not None and (own := heard_in_takes(session.dry, takes, names)) is not None:
        return own
    paths = {open_capture(path).sha256(): path for one in session.settings for path in one.captures}
    return heard_in_captures([one.profile for one in shown_of(result.profiles)], paths)


def _beside(findings: Findings, forecast: Forecast | None) -> list[Beside]:
    """Files of the folder that the page links to."""
    from charprobe.publishing.report.page import Beside, tables_beside

    names = {
        "methods.md": "device, conditions, and the command that makes all this again",
        "claims.md": "what was claimed, the answers, and what they rest on",
        "tables/captures.csv": "every capture: hash, rate, bits, place, clock, warnings",
    }
    if forecast is not None:
        names[PREDICTIONS] = "what each setting will do to made-up programme, all numbers"
    comparisons = {} if findings.settings is None else {"settings": "setting against setting"}
    comparisons |= {
        f"channels of {output.safe_file_name(name)}": f"channels of {literal(name)}"
        for name, _ in findings.channels
    }
    files = [Beside(PurePosixPath(name), holds) for name, holds in names.items()]
    for folder, what in comparisons.items():
        files += tables_beside(f"tables/{folder}", what)
    return files


def carded(profiles: Sequence[Profile]) -> list[Profile]:
    """Return the profiles that get a card: every channel's first good take, or one channel's if too many."""
    good = standing(profiles)
    firsts = list({(p.setting, p.channel): p for p in reversed(good)}.values())[::-1]
    firsts = [profile for profile in profiles if any(profile is first for first in firsts)]
    if len(firsts) <= MOST_CARDS:
        return firsts
    return list({p.setting: p for p in reversed(firsts)}.values())[::-1]


class _Figures:
    """Figures of the profiles that get a card, drawn where they would show something new."""

    def __init__(
        self, profiles: Sequence[Profile], folder: Path, looks: Sequence[str], *, animations: bool
    ) -> None:
        self.profiles, self.folder, self.looks = carded(profiles), folder / "figures", looks
        self.moving = folder / "animations" if animations else None

    def begun(self, jobs: int) -> Iterator[tuple[Path, ...]]:
        """Begin to draw each profile; give the paths of its figures when they are there."""
        places = [self.folder] if self.moving is None else [self.folder, self.moving]
        own = [
            (Made(place / f".{figure_stem(profile)}.key", key_of(profile, self.looks)), profile)
            for place in places
            for profile in self.profiles
        ]
        there = [made.there() for made, _ in own]
        calls = [
            partial(_drawn if made.stamp.parent == self.folder else _animated, made, profile, self.looks)
            for (made, profile), paths in zip(own, there, strict=True)
            if paths is None
        ]
        new = side_by_side(calls, jobs=jobs) if calls else iter(())
        return chain((paths for paths in there if paths is not None), new)

    def overlays(self) -> tuple[Path, ...]:
        """Draw the profiles over one another."""
        several = len({profile.channel for profile in self.profiles}) > 1
        names = [f"{p.setting}, channel {p.channel}" if several else p.setting for p in self.profiles]
        made = Made(self.folder / ".overlays.key", key_of(self.profiles, names, self.looks))
        there = made.there()
        if there is not None:
            return there
        from charprobe.publishing.figures.all_figures import draw_set

        return made.keep(draw_set(self.profiles, names, self.folder, force=True, looks=self.looks))


def _drawn(made: Made, profile: Profile, looks: Sequence[str]) -> tuple[Path, ...]:
    from charprobe.publishing.figures.all_figures import draw_profile

    return made.keep(draw_profile(profile, made.stamp.parent, force=True, looks=looks))


def _animated(made: Made, profile: Profile, looks: Sequence[str]) -> tuple[Path, ...]:
    """Write the figures that move, light and dark whatever the `looks`; none where nothing of it moves."""
    from charprobe.publishing.figures.animation import animate, moves

    output.prepare_folder(made.stamp.parent)
    return made.keep(animate(profile, made.stamp.parent, force=True) if moves(profile) else ())
