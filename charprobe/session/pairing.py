"""Which capture belongs to which setting: read from the sound, where the session gives take numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from charprobe.files.sound.sound_file import open_capture
from charprobe.placing.why_not_found import find_ident
from charprobe.session.file import Session, SessionSetting
from charprobe.values.errors import CharprobeError, SessionError
from charprobe.values.wording import literal

SOUND_SUFFIXES = frozenset(
    {".wav", ".wave", ".flac", ".aif", ".aiff", ".aifc", ".caf", ".rf64", ".bwf", ".w64"}
)
MOST_FILES = 2000
CHANNELS_TRIED = 8


@dataclass(frozen=True)
class Pairing:
    """A session whose settings hold their captures, and what is worth knowing of how they came there."""

    session: Session
    notes: tuple[str, ...]


def pair_captures(session: Session) -> Pairing:
    """Give every capture to the setting whose take number it carries in the sound.

    Files of the session's `pool` go to the setting of their take. A capture listed under one setting that
    says another one's take goes where the sound says. Settings without a take number keep what they list.
    Files that say no take, or none that is asked for, are named in the notes. `SessionError` if the pool is
    no folder, holds too many files, or a setting is left without a capture.
    """
    pairing = found_so_far(session)
    empty = [setting.name for setting in pairing.session.settings if not setting.captures]
    if empty:
        raise SessionError(
            f"{session.path}: no capture says the take of {', '.join(map(literal, empty))}. Put their "
            f"captures into {session.pool}, or list them; nothing was measured"
            + "".join(f". {note}" for note in pairing.notes)
        )
    return pairing


def found_so_far(session: Session) -> Pairing:
    """Pair the captures that are there; a setting may be left without any. See `pair_captures`."""
    takes = {setting.take: setting.name for setting in session.settings if setting.take is not None}
    if not takes and session.bypass_take is None:
        return Pairing(session, ())
    notes: list[str] = []
    placed: dict[str, list[Path]] = {setting.name: [] for setting in session.settings}
    for setting in session.settings:
        for path in setting.captures:
            placed[_place_listed(setting, path, takes, notes)].append(path)
    bypass = session.bypass
    listed = {path.resolve() for paths in placed.values() for path in paths}
    for path in _pooled(session):
        if path.resolve() in listed or (bypass is not None and path.resolve() == bypass.resolve()):
            continue
        take = _take_of(path)
        if take is not None and take == session.bypass_take:
            if bypass is not None:
                notes.append(f"{path.name} says the bypass's take {take} too: {bypass.name} is used")
            bypass = bypass or path
        elif take is not None and take in takes:
            placed[takes[take]].append(path)
        else:
            says = "no take" if take is None else f"take {take}, which no setting has"
            notes.append(f"{path.name} says {says}: left out")
    settings = tuple(replace(setting, captures=tuple(placed[setting.name])) for setting in session.settings)
    return Pairing(replace(session, settings=settings, bypass=bypass), tuple(notes))


def _place_listed(setting: SessionSetting, path: Path, takes: Mapping[int, str], notes: list[str]) -> str:
    """Name of the setting a listed capture belongs to."""
    if setting.take is None or not path.is_file():
        return setting.name
    take = _take_of(path)
    if take is None or take == setting.take:
        return setting.name
    found = f"{path.name} is listed under {literal(setting.name)}, take {setting.take}; the sound says {take}"
    if take in takes:
        notes.append(
            f"{found}, which is {literal(takes[take])}. The sound is trusted: it is measured as that. Confirm"
            " in the session file"
        )
        return takes[take]
    notes.append(f"{found}, which no setting has. It stays where it is listed; check which setting it is of")
    return setting.name


def _pooled(session: Session) -> list[Path]:
    """Sound files of the pool, by name."""
    if session.pool is None:
        return []
    if not session.pool.is_dir():
        raise SessionError(
            f"{session.path}: `pool` names {session.pool}, which is no folder: create it, or list captures"
        )
    found = sorted(p for p in session.pool.iterdir() if p.is_file() and p.suffix.lower() in SOUND_SUFFIXES)
    if len(found) > MOST_FILES:
        raise SessionError(f"{session.pool}: {len(found)} sound files; allowed: {MOST_FILES}")
    return found


def _take_of(path: Path) -> int | None:
    """Take number that the sound of a file carries, on any of its first channels; None where it says none."""
    try:
        source = open_capture(path)
    except CharprobeError:
        return None
    for channel in range(min(source.channels, CHANNELS_TRIED)):
        reading = find_ident(source, channel)
        if reading is not None:
            return reading.take
    return None
