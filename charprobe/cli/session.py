"""`charprobe session`."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from charprobe.session.run import Outcome

FILE = click.Path(path_type=Path)


@click.command("session")
@click.argument("session", type=FILE)
@click.option("--out", type=FILE, help="Folder for profiles, page, figures and tables.")
@click.option("--new", is_flag=True, help="Write a commented starter to SESSION instead.")
@click.option("--plan", is_flag=True, help="Say what SESSION asks for, and measure nothing.")
@click.option("--jobs", type=click.IntRange(1, 256), default=2, show_default=True, help="Captures at a time.")
@click.option("--all-looks", is_flag=True, help="Draw figures in dark colours too.")
@click.option("--force", is_flag=True, help="With --new: replace a file that exists.")
@click.pass_context
def session_command(
    ctx: click.Context,
    session: Path,
    out: Path | None,
    new: bool,
    plan: bool,
    jobs: int,
    all_looks: bool,
    force: bool,
) -> None:
    """Measure everything that the file SESSION lists, and publish it in one folder.

    Run it again after an interruption or with new captures: what is finished is not measured again.
    """
    from charprobe.session.file import STARTER, load_session

    if new:
        from charprobe.files.output import write_text

        write_text(session, STARTER, force=force)
        click.echo(
            f"Starter written to {session}: fill it in, then `charprobe session {session} --plan`", err=True
        )
        return
    loaded = load_session(session)
    if plan:
        from charprobe.session.pairing import found_so_far
        from charprobe.session.plan import plan_text

        click.echo(plan_text(found_so_far(loaded).session))
        return
    if out is None:
        raise click.UsageError("--out is needed: the folder for profiles, page, figures and tables")
    from charprobe.files.folder_lock import folder_lock
    from charprobe.files.output import prepare_folder
    from charprobe.publishing.figures.style import LOOKS
    from charprobe.publishing.folder import DEFAULT_LOOKS, findings_of, publish
    from charprobe.session.pairing import pair_captures
    from charprobe.session.run import parts_of, run_session

    pairing = pair_captures(loaded)
    loaded = pairing.session
    for note in pairing.notes:
        click.echo(f"Warning: {note}", err=True)
    count = len(parts_of(loaded))
    prepare_folder(out)
    with folder_lock(out):
        with click.progressbar(length=count, label="Measuring", file=sys.stderr) as bar:

            def progress(outcome: Outcome, _total: int) -> None:
                bar.update(1)
                if outcome.profile is None:
                    click.echo(f"\n{outcome.part.label}: {outcome.message}", err=True)

            result = run_session(loaded, out, jobs=jobs, progress=progress)
        click.echo(
            f"{result.measured} measured, {result.kept} up to date, {len(result.failures)} not measured",
            err=True,
        )
        if not result.profiles:
            raise click.ClickException("nothing could be measured; the reasons are above and in log.jsonl")
        click.echo("Writing page, tables and figures ...", err=True)
        command = shlex.join(["charprobe", "session", session.name, "--out", out.name])
        looks = tuple(LOOKS) if all_looks else DEFAULT_LOOKS
        findings = findings_of(loaded, result)
        publish(loaded, result, findings, out, command=command, jobs=jobs, looks=looks, notes=pairing.notes)
    for note in findings.copies:
        click.echo(f"Warning: {note}", err=True)
    for line in findings.sentences:
        click.echo(line)
    for claim in findings.claims:
        click.echo(f"{claim.answer}: {claim.text} ({claim.because})")
    click.echo(f"page: {out / 'page.html'}", err=True)
    ctx.exit(1 if result.failures else 0)
