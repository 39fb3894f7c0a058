"""The second pass: for every setting the stimulus that its first take asks for, in a session of its own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

import tomli_w

from charprobe.bench.jobs import Job, jobs_of
from charprobe.files.output import prepare_folder, safe_file_name, write_text
from charprobe.files.sound.sound_file import open_capture
from charprobe.measuring.measure import measure
from charprobe.session.file import SCHEMA, Session, SessionSetting, load_session
from charprobe.stimulus.design import Design, design_stimulus
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out

FOLDER = "second pass"


@dataclass(frozen=True)
class Proposal:
    """What a second take of a setting would be; `session` is the path of its session file."""

    setting: str
    design: Design
    session: Path


def proposals(session: Session, jobs: tuple[Job, ...]) -> Iterator[Proposal]:
    """Design the next stimulus of every setting that has a first take; one by one, for each takes seconds.

    `jobs` are the takes of the first pass; `CharprobeError` if one that was kept cannot be measured.
    """
    off = next((job.file for job in jobs if job.kind == "bypass" and job.done), None)
    for setting in session.settings:
        job = next((job for job in jobs if job.name == f"{setting.name} 1" and job.done), None)
        if job is None:
            continue
        capture = open_capture(job.file)
        profile = measure(
            capture,
            lay_out(job.recipe, rate_hz=capture.rate_hz, take=job.take),
            bypass=None if off is None else open_capture(off),
            setting=setting.name,
            channel=setting.channels[0] if setting.channels else 1,
        )
        folder = session.path.resolve().parent / FOLDER / safe_file_name(setting.name)
        yield Proposal(setting.name, design_stimulus(profile, longest_s=LONGEST_S), folder / "session.toml")


LONGEST_S = 180.0


def second_jobs(session: Session, chosen: list[Proposal]) -> tuple[Job, ...]:
    """Write a session file for each proposal, and list its takes: all with the stage off, then the settings.

    A session that is there already is gone on with, as it was designed then.
    """
    jobs: list[Job] = []
    for proposal in chosen:
        if not proposal.session.is_file():
            setting = next(one for one in session.settings if one.name == proposal.setting)
            prepare_folder(proposal.session.parent.parent)
            prepare_folder(proposal.session.parent)
            write_text(
                proposal.session.parent / "recipe.toml", recipe_text(proposal.design.recipe), force=False
            )
            write_text(proposal.session, _session_text(session, setting), force=False)
        jobs += jobs_of(load_session(proposal.session), repeats=False)
    return tuple(sorted(jobs, key=lambda job: job.kind == "setting"))


def recipe_text(recipe: Recipe) -> str:
    """Return the TOML file of a recipe; reading it gives the same recipe."""
    rows = {key: value for key, value in recipe.to_dict().items() if value is not None}
    rows["segment"] = [
        {key: value for key, value in row.items() if value is not None} for row in rows["segment"]
    ]
    return tomli_w.dumps(rows)


def _session_text(session: Session, setting: SessionSetting) -> str:
    name = safe_file_name(setting.name)
    row: dict[str, object] = {"name": setting.name, "captures": [f"captures/{name} 1.wav"]}
    if setting.channels is not None:
        row["channels"] = list(setting.channels)
    if setting.notes:
        row["notes"] = setting.notes
    table = {
        "schema": SCHEMA,
        "title": f"{session.title}: {setting.name}, second pass",
        "recipe": "recipe.toml",
        "device": asdict(session.device),
        "setting": [row],
    }
    if session.bypass is not None or session.bypass_take is not None:
        table["bypass"] = "captures/bypass.wav"
    return tomli_w.dumps(table)
