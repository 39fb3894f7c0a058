"""After the takes: the page, and the second pass."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, Any

import click

from charprobe.cli.speaking import tell

if TYPE_CHECKING:
    from charprobe.bench.devices import Patch
    from charprobe.bench.jobs import Job
    from charprobe.bench.second_pass import Proposal
    from charprobe.cli.record_screen import Screen
    from charprobe.publishing.session_folder import SessionFolder
    from charprobe.session.file import Session


def published(session: Session, options: dict[str, Any]) -> SessionFolder:
    """Measure and publish a session beside its takes, and show its page."""
    from charprobe.publishing.session_folder import run_session

    tell(f"Measuring {session.title} ...")
    made = run_session(session, session.path.resolve().parent / "published")
    for line in made.findings.sentences:
        click.echo(line, err=options["as_json"])
    tell(f"page: {made.page}")
    shows = sys.platform != "linux" or "DISPLAY" in os.environ or "WAYLAND_DISPLAY" in os.environ
    if shows and sys.stdout.isatty() and not options["yes"]:
        click.launch(str(made.page))
    return made


def second_pass(
    session: Session, jobs: tuple[Job, ...], patch: Patch, screen: Screen, options: dict[str, Any]
) -> list[str] | None:
    """Design, show and record what the first pass left open; the pages, or None if it was stopped."""
    from charprobe.bench.guide import walk
    from charprobe.bench.second_pass import proposals, second_jobs
    from charprobe.cli.record_screen import say
    from charprobe.cli.stimulus import design_lines
    from charprobe.session.file import load_session

    chosen, pages = [], []
    tell("Second pass: what the first one asks for")
    for proposal in proposals(session, jobs):
        design = proposal.design
        if not design.gains:
            say(f"{proposal.setting}: nothing to gain, left out")
            continue
        say(f"{proposal.setting}: {design.duration_s:.0f} s")
        for line in design_lines(design):
            say(f"  {line}")
        chosen.append(proposal)
    if not chosen:
        return []
    minutes = 2 * sum(proposal.design.duration_s for proposal in chosen) / 60
    if not (options["second"] or screen.agree(f"Record it now, about {minutes:.0f} min of sound?")):
        return []
    screen.consent()
    if not walk(second_jobs(session, chosen), patch, screen):
        return None
    if options["publish"]:
        tell(
            "What the second pass tells stands on pages of its own; the first page keeps what the first told."
        )
    for proposal in chosen if options["publish"] else ():
        made = published(load_session(proposal.session), options)
        _came(proposal, made, options)
        pages.append(str(made.page))
    return pages


def _came(proposal: Proposal, made: SessionFolder, options: dict[str, Any]) -> None:
    """Say what the second pass tells now of what it was made for, beside what was foretold."""
    from charprobe.cli.stimulus import interval_text
    from charprobe.values.wording import readable

    profile = made.result.profiles[0]
    for row in proposal.design.expected:
        text = readable(profile.quantities[row.name].reading).text
        came = "no number" if text == "–" else text
        click.echo(
            f"  {row.name:<22} {came}, expected {interval_text(row, row.then)}", err=options["as_json"]
        )
