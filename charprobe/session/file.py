"""Session files: a device, its settings, their captures and the claims made of them, as TOML."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Literal

from annotated_types import Interval, Len, MaxLen

from charprobe.comparing.curves import CURVES, MARGINS
from charprobe.files.checked_model import checked
from charprobe.files.limits import Says, Words
from charprobe.files.untrusted import Content, FileKind, read_text, toml_content
from charprobe.profile import glossary
from charprobe.profile.glossary.row import Margin
from charprobe.profile.volts import VoltsReading
from charprobe.profile.volts_file import ReadingRows, readings_of
from charprobe.stimulus.ident import LAST_TAKE
from charprobe.values.errors import SessionError
from charprobe.values.wording import shortened

SCHEMA = "charprobe.session/1"
FILE = FileKind(
    called="session file",
    error=SessionError,
    most_bytes=1_000_000,
    most_depth=5,
    remedy="`charprobe session --new FILE` writes a starter",
    schema=SCHEMA,
)
UNKNOWN = "unknown"
Text = Annotated[str, MaxLen(2000)]
TakeNumber = Annotated[int, Interval(ge=0, le=LAST_TAKE), Says("as `charprobe stimulus --take`")]
ChannelNumber = Annotated[int, Interval(ge=1, le=1024), Says("channel numbers, counted from 1")]


@dataclass(frozen=True)
class Device:
    """What was measured, in the user's words; what was not written down is "unknown" and printed so."""

    name: Words
    maker: Text = UNKNOWN
    serial: Text = UNKNOWN
    firmware: Text = UNKNOWN
    gain: Text = UNKNOWN
    play_path: Text = UNKNOWN
    record_path: Text = UNKNOWN
    notes: Text = ""


@dataclass(frozen=True)
class SessionSetting:
    """One setting: its captures (repeats of each other) and the channels to measure, None for all.

    `take` is the take number its captures carry in the sound; with it, captures need not be listed. `heard`
    is a take of the reviewer's own material through the setting, the session's `dry` one processed.
    """

    name: str
    captures: tuple[Path, ...]
    channels: tuple[int, ...] | None = None
    notes: str = ""
    take: int | None = None
    heard: Path | None = None


@dataclass(frozen=True)
class Claim:
    """Something said about settings, to be checked.

    `of` names a quantity or a curve for "same" and "different" ("" is the static curve); `below_dbfs` and
    `limit_dbc` belong to "clean below".
    """

    says: Literal["same", "different", "identical", "only louder", "clean below"]
    settings: Annotated[tuple[Words, ...], Len(1, 20)]
    of: Text = ""
    below_dbfs: Annotated[float, Interval(ge=-120, le=0)] | None = None
    limit_dbc: Annotated[float, Interval(ge=-160, le=0)] | None = None


@dataclass(frozen=True)
class Session:
    """A checked session file; paths are absolute, `calibration` is empty without voltmeter readings.

    `pool` is a folder whose captures are paired by their takes, `bypass_take` the bypass's; `loopback` is a
    capture of the path without the device; `margins` are the user's own, by quantity; `replicas`
    asks for a model that runs of every capture, `animations` for figures that move of every setting.
    """

    path: Path
    title: str
    recipe: str
    device: Device
    bypass: Path | None
    settings: tuple[SessionSetting, ...]
    claims: tuple[Claim, ...]
    calibration: tuple[VoltsReading, ...] = ()
    loopback: Path | None = None
    pool: Path | None = None
    bypass_take: int | None = None
    dry: Path | None = None
    margins: Mapping[str, Margin] = field(default_factory=dict)
    replicas: bool = False
    animations: bool = False

    @property
    def own_recipe(self) -> Path | None:
        """The user's own recipe, where the session names a file beside it; else it is a shipped one."""
        path = self.path.resolve().parent / self.recipe
        return path if path.suffix == ".toml" and path.is_file() else None


@dataclass(frozen=True)
class SettingForm:
    """A setting as the file holds it; paths are relative to the file."""

    name: Words
    captures: Annotated[tuple[Words, ...], MaxLen(100), Says("none only where `take` is given")] = ()
    channels: (
        Annotated[tuple[ChannelNumber, ...], Len(1, 64), Says("different channel numbers, from 1")] | None
    ) = None
    notes: Text = ""
    take: TakeNumber | None = None
    heard: Text = ""


@dataclass(frozen=True)
class MarginForm:
    """The user's own margin of one quantity or curve."""

    of: Words
    size: Annotated[float, Interval(ge=0, le=1e6)]
    reason: Words


@dataclass(frozen=True)
class SessionForm:
    """The whole file; what is left out of it has its usual value."""

    schema: Literal["charprobe.session/1"]
    device: Device
    setting: Annotated[tuple[SettingForm, ...], Len(1, 200)]
    title: Text | None = None
    recipe: Text = "standard"
    bypass: Text = ""
    bypass_take: TakeNumber | None = None
    loopback: Text = ""
    pool: Text = ""
    replicas: bool = False
    animations: bool = False
    dry: Text = ""
    claim: Annotated[tuple[Claim, ...], MaxLen(200)] = ()
    margin: Annotated[tuple[MarginForm, ...], MaxLen(len(MARGINS))] = ()
    calibration: ReadingRows | None = None


def load_session(path: str | Path) -> Session:
    """Read and check a session file.

    Raises
    ------
    SessionError
        If it is missing or not valid; names file, line, place, what was found and what is allowed.
    """
    path = Path(path)
    return parse_session(read_text(path, FILE), path=path)


def parse_session(text: str, *, path: Path) -> Session:
    """Check the text of a session file; captures are sought beside `path`."""
    content = toml_content(text, FILE, source=str(path))
    form = checked(content, SessionForm)
    _check_settings(form, content)
    folder = path.resolve().parent
    if form.loopback and not form.bypass:
        raise content.fault(
            "loopback",
            allowed="one beside a bypass, for what the stage does when off: name that capture as `bypass`",
        )
    for number in range(len(form.claim)):
        _check_claim(form, number, content)
    for number, row in enumerate(form.setting):
        if row.heard and not form.dry:
            alone = "one beside a dry take of the same material: name that as `dry` at the top"
            raise content.fault("setting", number, "heard", allowed=alone)
    settings = [
        SessionSetting(
            row.name,
            tuple(folder / name for name in row.captures),
            row.channels,
            row.notes,
            row.take,
            folder / row.heard if row.heard else None,
        )
        for row in form.setting
    ]
    return Session(
        path=path,
        title=path.stem if form.title is None else form.title,
        recipe=form.recipe,
        device=form.device,
        bypass=folder / form.bypass if form.bypass else None,
        settings=tuple(settings),
        claims=form.claim,
        calibration=readings_of(form.calibration or (), content, "calibration"),
        loopback=folder / form.loopback if form.loopback else None,
        pool=folder / form.pool if form.pool else None,
        bypass_take=form.bypass_take,
        dry=folder / form.dry if form.dry else None,
        margins={row.of: _margin(row, number, content) for number, row in enumerate(form.margin)},
        replicas=form.replicas,
        animations=form.animations,
    )


def _check_settings(form: SessionForm, content: Content) -> None:
    """Refuse settings that contradict each other, or whose captures nobody could find."""
    names = [row.name.casefold() for row in form.setting]  # many systems keep such files in one place
    takes = [row.take for row in form.setting]
    for number, row in enumerate(form.setting):
        if names[number] in names[:number]:
            twice = f"a name of its own, whatever its case, but two settings are called {row.name!r}"
            raise content.fault(
                "setting", number, "name", allowed=f"{twice}; list all captures of one in one place"
            )
        if row.take is not None and row.take in takes[:number]:
            raise content.fault(
                "setting",
                number,
                "take",
                allowed="a number of its own, but two settings have one take number",
            )
        if not row.captures and (row.take is None or not form.pool):
            unlisted = (
                "1 to 100 entries; none where `take` is given and the folder they are in is named as `pool`"
            )
            raise content.fault("setting", number, "captures", allowed=unlisted)
        if row.channels and len(set(row.channels)) < len(row.channels):
            raise content.fault(
                "setting", number, "channels", allowed="a list of different channel numbers, counted from 1"
            )


def _margin(row: MarginForm, number: int, content: Content) -> Margin:
    usual = MARGINS.get(row.of)
    if usual is None:
        raise content.fault(
            "margin", number, "of", allowed="a quantity that is compared, such as attack.t63, or a curve"
        )
    ratio = usual.scale == "ratio"
    if row.size <= (1 if ratio else 0):
        raise content.fault(
            "margin", number, "size", allowed="a factor above 1" if ratio else "a number above 0"
        )
    return Margin(row.size, usual.scale, row.reason)


def _check_claim(form: SessionForm, number: int, content: Content) -> None:
    claim, names = form.claim[number], [row.name for row in form.setting]

    def need(good: bool, key: str, allowed: str) -> None:
        if not good:
            raise content.fault("claim", number, key, allowed=allowed)

    if claim.says == "clean below":
        need(len(claim.settings) == 1, "settings", "1 entry")
        need(claim.below_dbfs is not None, "below_dbfs", "a number from -120 to 0")
        need(claim.limit_dbc is not None, "limit_dbc", "a number from -160 to 0")
    else:
        need(len(claim.settings) > 1, "settings", "2 to 20 entries")
    known = "names of settings of this session: " + shortened(", ".join(names), 200)
    need(set(claim.settings) <= set(names), "settings", known)
    curves = ", ".join(f'"{name}"' for name in CURVES)
    known = f"the name of a quantity, such as attack.t63, or of a curve: {curves}"
    need(not claim.of or claim.of in glossary.TERMS or claim.of in CURVES, "of", known)


STARTER = f"""# A charprobe session: everything that was captured of one device, and what is claimed of it.
# Paths are relative to this file. Check it with `charprobe session FILE --plan`.
schema = "{SCHEMA}"
title = "Field preamp"
recipe = "standard"            # a shipped recipe, or the path of your own
bypass = "captures/off.wav"    # same path, stage off; remove the line if there is none
# loopback = "captures/loop.wav"  # same path without the device: what is the rig's, and whether off is off
# replicas = true              # fit a model that runs to every capture, too: a minute or two each
# animations = true            # figures that move, for a video: a quarter of a minute a setting
# pool = "captures"            # captures found by the take number in their sound, whatever they are called
# dry = "takes/dry.wav"        # your own material, which the page plays beside what each setting made of it
# bypass_take = 0              # then `charprobe stimulus ... --take N` per setting, and `take = N` below

[device]
name = "Field preamp"
maker = "unknown"              # "unknown" is allowed everywhere, and printed
serial = "unknown"
firmware = "unknown"
gain = "unknown"               # position of the input gain: it sets how hard the stage is driven
play_path = "unknown"          # converter, output, cable
record_path = "unknown"

[[setting]]
name = "voice"
captures = ["captures/voice 1.wav", "captures/voice 2.wav"]   # repeats show what can be told apart
# channels = [1, 2]            # left out: every channel of the capture
# heard = "takes/voice.wav"    # the dry take through this setting
# take = 1                     # the sound is asked: a capture of another take goes where it belongs

[[setting]]
name = "crowd"
captures = ["captures/crowd.wav"]

[[claim]]
says = "different"             # same, different, identical, only louder, clean below
settings = ["voice", "crowd"]
of = "release.t63"             # any quantity; left out: the static curve

# [[margin]]                   # your own: the largest difference that does not matter
# of = "attack.t63"
# size = 1.25                  # a factor for times and corners, the quantity's unit for the rest
# reason = "two units of this design differ by so much"

# [[calibration]]              # two or more levels add dBu: volts rms at the input of the stage
# dbfs = -20.0                 # level of the steady tone, as the bypass shows it
# volts = 0.775
"""
