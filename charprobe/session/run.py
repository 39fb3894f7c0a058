"""Run a session: every channel of every capture measured once, in parallel, and again only if it changed."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache, partial
from itertools import chain, groupby
from pathlib import Path

from charprobe import __version__
from charprobe.files import output
from charprobe.files.sound.channels_apart import channels_apart
from charprobe.files.sound.sound_file import open_capture
from charprobe.files.sound.source import Source
from charprobe.measuring.characterise import characterise_judged
from charprobe.measuring.health.judge import Judged, judge_capture
from charprobe.placing.recognise import recognise_any
from charprobe.placing.why_not_found import find_ident
from charprobe.profile.in_dbu import with_dbu
from charprobe.profile.profile import Profile, load_profile
from charprobe.replica.model import SUFFIX
from charprobe.session.file import Session
from charprobe.session.parts import Outcome, Part, own_fault, parts_of
from charprobe.session.replicas import with_replica
from charprobe.session.side_by_side import side_by_side
from charprobe.stimulus.recipe import load_recipe, shipped_recipes
from charprobe.stimulus.render import lay_out
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.errors import CharprobeError, SessionError

REPLICAS = "replicas"  # folder of the fitted models
KEPT_BYPASSES, KEPT_SOURCES = 64, 2  # judged channels of a bypass, and open bypasses, that a process keeps


@dataclass(frozen=True)
class SessionResult:
    """Profiles of a session in the order of its file, and the parts that could not be measured.

    `stage_off` are profiles of the bypass against the loop-back.
    """

    profiles: tuple[Profile, ...]
    stage_off: tuple[Profile, ...]
    failures: tuple[Outcome, ...]
    measured: int
    kept: int


def measure_parts(
    session: Session,
    folder: Path,
    *,
    jobs: int,
    progress: Callable[[Outcome], None],
    meanwhile: Callable[[], object] = lambda: None,
    before_fits: Callable[[SessionResult, int], object] = lambda result, fits: None,
) -> SessionResult:
    """Measure what has not been measured yet; then fit the replicas that are asked for and not there.

    Profiles go to ``profiles/`` in the folder. Parts whose capture, bypass, stimulus, voltmeter readings and
    version of charprobe are those of an earlier run are kept; a profile that is out of date is moved to
    ``superseded/``. So many `jobs` run at a time; channels of captures that do not go round are
    shared out.

    `progress` hears what came of each part, `meanwhile` is called once when work has begun, `before_fits`
    once all is measured, with what came of it and the number of replicas to fit; neither if there is none.
    `SessionError` if captures are missing, `OutputError` if the folder cannot be written.
    """
    parts = parts_of(session)
    places = (folder, folder / "profiles", folder / "superseded", folder / REPLICAS)
    for place in places if session.replicas else places[:3]:
        output.prepare_folder(place)
    outcomes: dict[str, Outcome] = {}
    profiles: dict[str, Profile] = {}  # loaded as they come, while others are being measured

    def note(these: Iterable[Outcome]) -> None:
        for outcome in these:
            outcomes[outcome.part.name] = outcome
            profiles.pop(outcome.part.name, None)
            if outcome.profile is not None:
                profiles[outcome.part.name] = load_profile(outcome.profile)
            _log(folder, outcome)
            progress(outcome)

    alone = replace(session, replicas=False)
    known, left = _looked_over(parts, alone, folder)
    note(known)
    note(_worked_on(left, alone, folder, jobs, meanwhile))
    if session.replicas:
        made = [one for one in parts if one.bypass and not one.off and one.name in profiles]
        _, left = _looked_over(made, session, folder)
        if left:
            before_fits(_result(parts, outcomes, profiles), sum(map(len, left)))
        note(_worked_on(left, session, folder, jobs))
    return _result(parts, outcomes, profiles)


Waiting = list[tuple[Part, str]]  # parts to work on, and what each depends on


def _looked_over(
    parts: Sequence[Part], session: Session, folder: Path
) -> tuple[list[Outcome], list[Waiting]]:
    """Tell the parts that are up to date, or cannot be, from those that wait, which stay by captures."""
    known: list[Outcome] = []
    left: list[Waiting] = []
    for _, own in groupby(parts, key=lambda part: (part.capture, part.bypass)):
        there, waiting = _looked_up(tuple(own), session, folder)
        known += there
        if waiting:
            left.append(waiting)
    return known, left


def _worked_on(
    captures: Sequence[Waiting],
    session: Session,
    folder: Path,
    jobs: int,
    meanwhile: Callable[[], object] = lambda: None,
) -> Iterator[Outcome]:
    calls = [partial(_measure_capture, own, session, folder) for own in _shared_out(captures, jobs)]
    if calls:
        measured = side_by_side(calls, jobs=min(jobs, len(calls)))
        meanwhile()
        yield from chain.from_iterable(measured)


def _result(
    parts: Sequence[Part], outcomes: Mapping[str, Outcome], profiles: Mapping[str, Profile]
) -> SessionResult:
    ordered = [outcomes[part.name] for part in parts]
    return SessionResult(
        profiles=tuple(profiles[part.name] for part in parts if part.name in profiles and not part.off),
        stage_off=tuple(profiles[part.name] for part in parts if part.name in profiles and part.off),
        failures=tuple(item for item in ordered if item.profile is None),
        measured=sum(item.measured for item in ordered),
        kept=sum(item.profile is not None and not item.measured for item in ordered),
    )


def _looked_up(parts: tuple[Part, ...], session: Session, folder: Path) -> tuple[list[Outcome], Waiting]:
    """Tell the parts of one capture that are there and up to date, or cannot be, from those to measure."""
    try:
        sha256, dry = _hash(parts[0].capture), _hash(parts[0].bypass)
        recipe_key = _recipe_key(session)
    except CharprobeError as error:
        return [Outcome(part, None, str(error), measured=True) for part in parts], []
    known: list[Outcome] = []
    waiting: Waiting = []
    for part in parts:
        key, with_more = (
            _key(part, one, sha256, dry, recipe_key) for one in (session, replace(session, replicas=True))
        )
        path, stamp = _files(part, folder)
        if path.is_file() and stamp.is_file() and stamp.read_text(encoding="ascii") in (key, with_more):
            known.append(Outcome(part, path, "up to date", measured=False))
        else:
            waiting.append((part, key))
    return known, waiting


def _shared_out(captures: Sequence[Waiting], jobs: int) -> list[Waiting]:
    """Leave captures whole as far as they go round, and share out the channels of the rest."""
    whole = len(captures) - len(captures) % jobs
    shared = list(captures[:whole])
    for one in captures[whole:]:
        size = math.ceil(len(one) * (len(captures) - whole) / jobs)
        shared += [one[start : start + size] for start in range(0, len(one), size)]
    return shared


def _measure_capture(waiting: Waiting, session: Session, folder: Path) -> list[Outcome]:
    """Measure parts of one capture, its sound read once for all."""
    try:
        source = open_capture(waiting[0][0].capture)
    except CharprobeError as error:
        return [Outcome(part, None, str(error), measured=True) for part, _ in waiting]
    apart = channels_apart(source)
    return [_measure(apart, *one, session, folder) for one in waiting]


def _hash(path: Path | None) -> str:
    return "" if path is None else open_capture(path).sha256()


def _key(part: Part, session: Session, sha256: str, bypass_hash: str, recipe_key: str) -> str:
    """Hash of everything that a profile depends on; the take is in the sound."""
    state = [
        part.setting,
        sha256,
        part.channel,
        bypass_hash,
        recipe_key,
        __version__,
        [[one.level_dbfs, one.volts] for one in session.calibration],
        *(["replicas"] if session.replicas else []),
    ]
    return hashlib.sha256(json.dumps(state).encode()).hexdigest()


def _files(part: Part, folder: Path) -> tuple[Path, Path]:
    """The profile of a part, and the stamp that says what it was made from."""
    return folder / "profiles" / f"{part.name}.json", folder / "profiles" / f".{part.name}.key"


def _measure(source: Source, part: Part, key: str, session: Session, folder: Path) -> Outcome:
    path, stamp = _files(part, folder)
    try:
        stimulus = _stimulus(source, session, part.channel)
        judged = judge_capture(source, stimulus, part.channel - 1)
        dry = _judged_bypass(part.bypass, _hash(part.bypass), stimulus, part.channel) if part.bypass else None
        if session.replicas and dry is not None:
            path_of_model = folder / REPLICAS / f"{part.name}{SUFFIX}"
            profile, stale = with_replica(judged, dry, load_profile(path), path_of_model), ""
        else:
            profile = characterise_judged(judged, dry, setting=part.setting)
            if session.calibration:
                profile = with_dbu(profile, session.calibration)
            stale = _set_aside(path, folder)
        profile.save(path, force=True)
        output.write_text(stamp, key, force=True)
    except CharprobeError as error:
        return Outcome(part, None, str(error), measured=True)
    except Exception as error:  # one fault of ours must not keep the others from being published
        return Outcome(part, None, own_fault(error), measured=True)
    message = f"measured again; the earlier profile is {stale}" if stale else "measured"
    return Outcome(part, path, message, measured=True)


@lru_cache(maxsize=KEPT_BYPASSES)
def _judged_bypass(path: Path, sha256: str, stimulus: Stimulus, channel: int) -> Judged:
    """Judge a channel of a bypass once for all captures that a process measures against it."""
    source = _bypass(path, sha256)
    return judge_capture(source, stimulus, min(channel, source.channels) - 1)


@lru_cache(maxsize=KEPT_SOURCES)
def _bypass(path: Path, sha256: str) -> Source:
    """Open a bypass once, so that what is known of its samples is known for all its channels."""
    return channels_apart(open_capture(path))


def _recipe_key(session: Session) -> str:
    """Hash of the session's recipe; its name where there is no such recipe, which every part will say."""
    if session.own_recipe is None and session.recipe not in shipped_recipes():
        return session.recipe
    return load_recipe(session.own_recipe or session.recipe).hash


def _stimulus(source: Source, session: Session, channel: int) -> Stimulus:
    """Return the stimulus of a shipped recipe, or of the user's own recipe file; the sound says the take."""
    if session.own_recipe is not None:
        own = load_recipe(session.own_recipe)
        reading = find_ident(source, min(channel, source.channels) - 1)
        named = reading is not None and own.hash.startswith(reading.recipe_hash_prefix)
        return lay_out(own, rate_hz=source.rate_hz, take=reading.take if reading and named else 1)
    found = source.once(recognise_any)
    if found.recipe.name != session.recipe:
        raise SessionError(
            f"{source.name}: the sound says recipe {found.recipe.name!r}, the session {session.recipe!r}. "
            "Mend the session, or capture again; results of two recipes do not belong in one table"
        )
    return found


def _set_aside(path: Path, folder: Path) -> str:
    """Move a profile that is out of date to ``superseded``; return its new name, "" if there was none."""
    if not path.is_file():
        return ""
    code = hashlib.sha256(path.read_bytes()).hexdigest()[:8]
    kept = folder / "superseded" / f"{path.stem}-{code}.json"
    path.replace(kept)
    return f"superseded/{kept.name}"


def _log(folder: Path, outcome: Outcome) -> None:
    """Append what was done to ``log.jsonl``; the only place where times of day are written."""
    if outcome.profile is not None and not outcome.measured:
        return
    line = {
        "time": datetime.now(UTC).isoformat(timespec="seconds"),
        "part": outcome.part.name,
        "capture": outcome.part.capture.name,
        "done": outcome.profile is not None,
        "message": outcome.message,
    }
    with (folder / "log.jsonl").open("a", encoding="utf-8") as stream:
        stream.write(json.dumps(line, ensure_ascii=False) + "\n")
