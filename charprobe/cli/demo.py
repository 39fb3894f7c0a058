"""`charprobe demo` and `charprobe selftest`."""

from __future__ import annotations

from pathlib import Path

import click

from charprobe.cli.paths import PATH, RATE
from charprobe.cli.speaking import print_json, progress, tell


@click.command("demo")
@click.option("--out", type=PATH, default="demo", show_default=True, help="Folder to work in.")
@click.option("--recipe", help="Recipe to play; left out: standard, or quick for the rack.")
@click.option(
    "--rack",
    is_flag=True,
    help="Write captures of a simulated rack (four channels, four settings, three takes) and their session "
    "file instead, for `charprobe session` to measure.",
)
@click.option("--force", is_flag=True, help="Replace what an earlier demo left there.")
def demo_command(out: Path, recipe: str | None, rack: bool, force: bool) -> None:
    """Do the whole job on a simulated device: stimulus, captures, profiles, comparison, page."""
    tell("Setting up ...")
    if rack:
        _rack(out, recipe or "quick", force)
        return
    from charprobe.rehearsal.demo import STEPS, run_demo
    from charprobe.simulation.demo_device import STORY
    from charprobe.stimulus.recipe import load_recipe

    with progress(STEPS, "Measuring") as done:
        told = iter([STORY])

        def heard(what: str) -> None:
            for story in told:  # once it is clear that nothing is in the way
                tell(story)
            done(what)

        demo = run_demo(out, recipe=load_recipe(recipe or "standard"), force=force, progress=heard)
    click.echo(demo.text())


def _rack(out: Path, recipe: str, force: bool) -> None:
    from charprobe.rehearsal.demo_rack import make_rack, rack_takes
    from charprobe.stimulus.recipe import load_recipe

    with progress(len(rack_takes()), "Recording") as done:
        session = make_rack(out, recipe=load_recipe(recipe), force=force, progress=done)
    click.echo(
        "Captures and session file written. Measure them with\n"
        f"  charprobe session {session} --out {out / 'published'}"
    )


@click.command("selftest")
@click.option("--recipe", default="standard", show_default=True, help="Recipe to play.")
@RATE
@click.option(
    "--stage", "names", multiple=True, help="Reference stage; may be given several times. All by default."
)
@click.option(
    "--jobs", type=click.IntRange(1, 64), default=2, show_default=True, help="Stages at the same time."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.pass_context
def selftest_command(
    ctx: click.Context, recipe: str, rate_hz: int, names: tuple[str, ...], jobs: int, as_json: bool
) -> None:
    """Recover the reference stages' parameters: truth, estimate, error, verdict.

    Exit code 1 if any number is off.
    """
    tell("Setting up ...")
    from charprobe.rehearsal.selftest import rows_text, run_selftest
    from charprobe.simulation.devices.catalogue import stage_names
    from charprobe.stimulus.recipe import load_recipe

    chosen = names or stage_names()
    with progress(len(chosen), "Measuring") as done:
        rows = run_selftest(chosen, load_recipe(recipe), rate_hz=rate_hz, jobs=jobs, progress=done)
    if as_json:
        print_json([row.to_dict() for row in rows])
    else:
        click.echo(rows_text(rows))
    ctx.exit(1 if any(row.verdict in {"off", "bound wrong"} for row in rows) else 0)
