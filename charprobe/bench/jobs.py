"""The takes of a session in the order in which they are recorded, and where each is kept."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from charprobe.files.output import safe_file_name
from charprobe.session.file import Session, SessionSetting
from charprobe.stimulus.recipe import Recipe, load_recipe

BESIDE = "path"  # folder, beside the session file, of what is no capture of a setting
PATH_TAKE, BYPASS_TAKE = 255, 0
ROUNDS = 2  # of path and bypass: what differs between two is the rig
AGAIN = "The same once more, touch nothing: what differs between the two is the rig."
OFF = "Device in, stage off (bypass); leave every gain as it will be."
AT_THE_END = "Device in, stage off (bypass), a last time: a gain turned since the first one shows."


@dataclass(frozen=True)
class Job:
    """One take: what to set, what is played, the take number its sound carries, the file it is kept in.

    `folder` is that of the session it belongs to.
    """

    name: str
    ask: str
    take: int
    file: Path
    recipe: Recipe
    folder: Path
    kind: Literal["path", "bypass", "setting"]

    @property
    def done(self) -> bool:
        """Whether a take is kept."""
        return self.file.is_file()


def jobs_of(session: Session, *, shuffle: int | None = None, repeats: bool = True) -> tuple[Job, ...]:
    """List the takes of a session; `RecipeError` if its recipe does not exist or is not valid.

    The path without the device and the bypass come first, each twice; then every setting once, in the order
    of the file or shuffled by a seed; then the repeats that the file lists; a setting of the first round
    comes again, and the bypass last. Without `repeats` what is taken only to show drift is left out.
    """
    settings = list(session.settings)
    if shuffle is not None:
        random.Random(shuffle).shuffle(settings)
    make = _Jobs(session)
    listed = max((len(setting.captures) for setting in settings), default=0) or 1
    jobs = [*make.of_path(ROUNDS if repeats else 1)]
    for number in range(listed):
        jobs += [
            make.of_setting(setting, number)
            for setting in settings
            if number == 0 or len(setting.captures) > number
        ]
    if repeats and listed == 1:
        jobs.append(make.of_setting(settings[0], 1))
    last_off = [job for job in jobs if job.kind == "bypass"][-1:] if repeats else []
    for job in last_off:  # before a setting's only take a gain may be turned: its own level cannot tell
        file = job.file.with_name(f"{job.file.stem.removesuffix(' again')} at the end.wav")
        jobs.append(replace(job, name=f"bypass {ROUNDS + 1}", ask=AT_THE_END, file=file))
    return tuple(jobs)


class _Jobs:
    """Makes the jobs of one session."""

    def __init__(self, session: Session) -> None:
        self.session, self.folder = session, session.path.resolve().parent
        self.recipe = load_recipe(session.own_recipe or session.recipe)
        given = {setting.take for setting in session.settings} | {session.bypass_take}
        free = (number for number in range(1, PATH_TAKE) if number not in given)
        self.takes = {s.name: next(free) if s.take is None else s.take for s in session.settings}

    def of_path(self, rounds: int) -> Iterator[Job]:
        """Takes without the device, then with the stage off."""
        session = self.session
        bypass = session.bypass
        if bypass is None and session.bypass_take is not None and session.pool is not None:
            bypass = session.pool / "bypass 1.wav"
        take = BYPASS_TAKE if session.bypass_take is None else session.bypass_take
        around = "Patch around the device: output straight into input, same cables."
        paths: tuple[tuple[Literal["path", "bypass"], Path | None, str, int], ...] = (
            ("path", session.loopback, around, PATH_TAKE),
            ("bypass", bypass, OFF, take),
        )
        for kind, first, ask, number in paths:
            for index in range(rounds if first is not None else 0):
                assert first is not None
                file = first if index == 0 else self.folder / BESIDE / f"{first.stem} again.wav"
                what = AGAIN if index else ask
                yield Job(f"{kind} {index + 1}", what, number, file, self.recipe, self.folder, kind)

    def of_setting(self, setting: SessionSetting, number: int) -> Job:
        """The take of one setting in one round."""
        session, plain = self.session, safe_file_name(setting.name)
        if number < len(setting.captures):
            file = setting.captures[number]
        elif session.pool is not None and setting.take is not None:
            file = session.pool / f"{plain} {number + 1}.wav"
        else:  # no place in the session: it shows drift, and can be listed by hand
            file = self.folder / BESIDE / f"{plain} {number + 1}.wav"
        notes = f" ({setting.notes})" if setting.notes else ""
        again = ", again: what has changed by now is drift" if number else ""
        ask = f"Set {setting.name}{notes}{again}."
        name, take = f"{setting.name} {number + 1}", self.takes[setting.name]
        return Job(name, ask, take, file, self.recipe, self.folder, "setting")
