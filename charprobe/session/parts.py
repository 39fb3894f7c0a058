"""What a session measures: the parts of its captures, one for each channel, and what came of them."""

from __future__ import annotations

import traceback
from dataclasses import dataclass
from pathlib import Path

from charprobe.files import output
from charprobe.files.sound.sound_file import open_capture
from charprobe.session.file import Session
from charprobe.values.errors import SessionError
from charprobe.values.wording import literal

STAGE_OFF = "stage off, against the loop-back"


@dataclass(frozen=True)
class Part:
    """One channel of one capture of one setting; the parts of a capture are worked on together.

    `bypass` is the capture it is set against. A part that is `off` is the bypass itself, set against the
    loop-back.
    """

    setting: str
    capture: Path
    channel: int
    name: str
    bypass: Path | None = None
    off: bool = False

    @property
    def label(self) -> str:
        """The part in words, for progress and messages."""
        return f"{literal(self.setting)}, {self.capture.name}, channel {self.channel}"


@dataclass(frozen=True)
class Outcome:
    """What came of a part: its profile's path, or why there is none; and whether it had to be measured."""

    part: Part
    profile: Path | None
    message: str
    measured: bool


def parts_of(session: Session) -> tuple[Part, ...]:
    """Return every channel of every capture, in the order of the file.

    `SessionError` if captures are missing names all of them; `CharprobeError` if one cannot be read, or lacks
    a channel that was asked for.
    """
    captures = [path for setting in session.settings for path in setting.captures]
    wanted = [*captures, *(path for path in (session.bypass, session.loopback) if path)]
    missing = [str(path) for path in wanted if not path.is_file()]
    if missing:
        raise SessionError(
            f"{session.path}: {len(missing)} of {len(wanted)} captures are not there: "
            f"{', '.join(missing[:10])}. "
            "Copy them there, or mend the names. Nothing was measured"
        )
    double = next((path for path in captures if captures.count(path) > 1), None)
    if double is not None:
        raise SessionError(f"{session.path}: {double} is listed twice; every capture belongs to one setting")
    parts: list[Part] = []
    for setting in session.settings:
        for number, capture in enumerate(setting.captures, start=1):
            there = open_capture(capture).channels
            for channel in setting.channels or range(1, there + 1):
                if channel > there:
                    raise SessionError(
                        f"{session.path}: setting {setting.name!r} asks for channel {channel}, "
                        f"{capture.name} has {there}"
                    )
                name = f"{output.safe_file_name(setting.name)}-take{number}-ch{channel}"
                parts.append(Part(setting.name, capture, channel, name, session.bypass))
    if session.bypass is not None and session.loopback is not None:
        for channel in range(1, open_capture(session.bypass).channels + 1):
            name = f"{output.safe_file_name(STAGE_OFF)}-ch{channel}"
            parts.append(Part(STAGE_OFF, session.bypass, channel, name, session.loopback, off=True))
    return tuple(parts)


def own_fault(error: Exception) -> str:
    """Say that the program failed, and where in it, in words that can be reported."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [one for one in frames if "charprobe" in Path(one.filename).parts] or frames
    place = f"{Path(own[-1].filename).name}, line {own[-1].lineno}"
    return (
        f"charprobe itself failed here, not the capture ({type(error).__name__}: {error}; {place}). The "
        "others go on. Please report it with this line and the capture"
    )
