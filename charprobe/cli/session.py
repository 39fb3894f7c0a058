"""`charprobe session`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from charprobe.cli.paths import PATH
from charprobe.cli.speaking import progress, say, tell

if TYPE_CHECKING:
    from charprobe.publishing.folder import Placing
    from charprobe.publishing.session_folder import Watch
    from charprobe.session.parts import Outcome
    from charprobe.session.run import SessionResult


@click.command("session")
@click.argument("session", type=PATH)
@click.option("--out", type=PATH, help="Folder for profiles, page, figures and tables.")
@click.option("--new", is_flag=True, help="Write a commented starter to SESSION instead.")
@click.option("--plan", is_flag=True, help="Say what SESSION asks for, and measure nothing.")
@click.option("--jobs", type=click.IntRange(1, 256), default=2, show_default=True, help="Processes.")
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Scheduler of a Dask cluster that measures instead of this machine, such as tcp://bench-server:8786.",
)
@click.option("--all-looks", is_flag=True, help="Draw figures for video and in dark colours too.")
@click.option(
    "--reference",
    "references",
    type=PATH,
    multiple=True,
    help="Folder of a session measured earlier, to set each setting beside the nearest one there.",
)
@click.option(
    "--sound",
    type=click.Choice(["beside", "inside", "none"]),
    default="beside",
    show_default=True,
    help="Where the page's sounds go: a folder beside it, the page itself, or nowhere.",
)
@click.option("--force", is_flag=True, help="With --new: replace a file that exists.")
@click.pass_context
def session_command(
    ctx: click.Context,
    session: Path,
    out: Path | None,
    new: bool,
    plan: bool,
    jobs: int,
    cluster: str | None,
    all_looks: bool,
    references: tuple[Path, ...],
    sound: Placing,
    force: bool,
) -> None:
    """Measure everything that the file SESSION lists, and publish it in one folder.

    Run it again after an interruption or with new captures: what is finished is not measured again.
    """
    from charprobe.session.file import STARTER, load_session

    if new:
        from charprobe.files.output import write_text

        write_text(session, STARTER, force=force)
        tell(f"Starter written to {session}: fill it in, then `charprobe session {session} --plan`")
        return
    loaded = load_session(session)
    if plan:
        from charprobe.session.pairing import found_so_far
        from charprobe.session.plan import plan_text

        click.echo(plan_text(found_so_far(loaded).session))
        return
    if out is None:
        raise click.UsageError("--out is needed: the folder for profiles, page, figures and tables")
    from charprobe.publishing.folder import DEFAULT_LOOKS
    from charprobe.publishing.session_folder import run_session

    looks: Sequence[str] = DEFAULT_LOOKS
    if all_looks:
        from charprobe.publishing.figures.look.style import LOOKS

        looks = tuple(LOOKS)
    with ExitStack() as while_measuring:
        if cluster is not None:
            from charprobe.session.cluster import on_cluster

            # its workers stand in other folders
            loaded, out = load_session(session.resolve()), out.resolve()
            jobs = while_measuring.enter_context(on_cluster(cluster))
        screen = while_measuring.enter_context(_screen())
        made = run_session(
            loaded, out, jobs=jobs, looks=looks, watch=screen, sound=sound, references=references
        )
    for note in (*made.findings.spoilt, *made.findings.copies):
        click.echo(f"Warning: {note}", err=True)
    claims = (f"{claim.answer}: {claim.text} ({claim.because})" for claim in made.findings.claims)
    for line in (*made.findings.sentences, *made.beside, *claims):
        say(line)
    tell(f"page: {made.page}")
    ctx.exit(1 if made.result.failures else 0)


@contextmanager
def _screen() -> Iterator[Watch]:
    """What the terminal shows while a session is measured; the bar ends when this ends at the latest."""
    from charprobe.publishing.session_folder import Watch

    class Screen(Watch):
        def paired(self, notes: Sequence[str]) -> None:
            for note in notes:
                click.echo(f"Warning: {note}", err=True)

        def started(self, parts: int) -> None:
            self.done = bars.enter_context(progress(parts, "Measuring"))

        def fitting(self, page: Path, fits: int) -> None:
            tell(f"{page} has what is measured; replicas come next, a minute or two each")
            self.done = bars.enter_context(progress(fits, "Fitting"))

        def part_done(self, outcome: Outcome) -> None:
            self.done(outcome.part.label)
            if outcome.profile is None:
                click.echo(f"\nNot measured: {outcome.part.label}: {outcome.message}", err=True)

        def measured(self, result: SessionResult) -> None:
            bars.close()
            counts = f"{result.measured} measured, {result.kept} up to date"
            tell(f"{counts}, {len(result.failures)} not measured")
            if result.profiles:
                tell("Writing page, tables and figures ...")

    with ExitStack() as bars:
        yield Screen()
