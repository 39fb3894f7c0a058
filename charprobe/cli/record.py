"""`charprobe record`."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from charprobe.cli.paths import PATH
from charprobe.cli.speaking import print_json, tell

if TYPE_CHECKING:
    from charprobe.bench.devices import SoundDevice
    from charprobe.cli.record_screen import Screen


@click.command("record")
@click.argument("session", type=PATH, required=False)
@click.option("--devices", "list_only", is_flag=True, help="List the sound devices, and do nothing else.")
@click.option("--self-check", is_flag=True, help="Measure the rig itself: patch output to input, no device.")
@click.option("--play", help="Device that plays: its number, its name or a part of it.")
@click.option("--record", "record_on", help="Device that records; left out, the one that plays.")
@click.option("--rate", "rate_hz", type=click.IntRange(44_100, 192_000), help="Sampling rate in Hz.")
@click.option("--outputs", metavar="1,2", help="Output channels the stimulus is played to.")
@click.option("--inputs", metavar="1,2", help="Input channels that are recorded.")
@click.option(
    "--level",
    "level_db",
    type=click.FloatRange(-60, 0),
    help="Turn the stimulus by so many dB before playing.",
)
@click.option("--exclusive", is_flag=True, help="Ask for the device alone, where the system knows that.")
@click.option(
    "--probe/--no-probe", default=None, help="Find the level first; left out, in a new session only."
)
@click.option("--shuffle", type=int, metavar="SEED", help="Settings in another order.")
@click.option("--second/--no-second", default=None, help="Second pass; left out, it is asked.")
@click.option("--publish/--no-publish", default=True, help="At the end measure all and write the page.")
@click.option("--yes", is_flag=True, help="Consent to cautions, louder steps, and what is proposed.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON at the end.")
@click.pass_context
def record_command(ctx: click.Context, /, session: Path | None, list_only: bool, **options: Any) -> None:
    """Walk through the settings of SESSION: what to set, play, record, judge, keep or take again.

    Where SESSION is no file yet, a few questions make one. Everything is kept in its folder as files that
    `charprobe session` reads; stopped at any point, the same command goes on from there.

    """
    from charprobe.bench.devices import list_devices

    if session is None and not options["self_check"] and not list_only:
        raise click.UsageError(
            "name a session file; one that does not exist yet is made from a few questions"
        )
    from charprobe.bench.stopping import signals_heard
    from charprobe.cli.record_screen import Screen
    from charprobe.values.errors import DeviceGoneError

    screen = Screen(yes=options["yes"])
    errors_go_to = os.dup(2)  # while it asks for devices, the sound library points 2 elsewhere
    try:
        with signals_heard():
            devices = list_devices()
            if list_only:
                done = {"complete": True, "devices": [device.text for device in devices]}
                click.echo("\n".join(device.text for device in devices) or "none", err=options["as_json"])
            elif options["self_check"]:
                done = _self_check(devices, screen, options)
            else:
                assert session is not None
                done = _record(session, devices, screen, options)
    except DeviceGoneError as error:  # whoever asks a dead sound server anything hangs, the way out included
        os.dup2(errors_go_to, 2)
        click.echo(f"Error: {error}", err=True)
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(1)
    os.close(errors_go_to)
    if options["as_json"]:
        print_json(done)
    ctx.exit(0 if done["complete"] else 1)


def _record(
    path: Path, devices: tuple[SoundDevice, ...], screen: Screen, options: dict[str, Any]
) -> dict[str, Any]:
    """The whole sitting, alone in its folder."""
    from charprobe.cli.record_setup import new_session, session_folder
    from charprobe.files.folder_lock import folder_lock

    with folder_lock(session_folder(path)):
        if not path.exists():
            new_session(path, screen)
        try:
            return _sitting(path, devices, screen, options)
        finally:
            screen.clear()  # an error is not written behind the levels of a take


def _sitting(
    path: Path, devices: tuple[SoundDevice, ...], screen: Screen, options: dict[str, Any]
) -> dict[str, Any]:
    """Set up, take, publish, and take again what is left open."""
    from charprobe.bench.guide import walk
    from charprobe.bench.jobs import jobs_of
    from charprobe.bench.rig_file import save_rig
    from charprobe.bench.takes import TakeFolder
    from charprobe.cli.record_after import published, second_pass
    from charprobe.cli.record_setup import chosen_patch, probed
    from charprobe.session.file import load_session

    session = load_session(path)
    jobs = jobs_of(session, shuffle=options["shuffle"])
    takes = TakeFolder(path.resolve().parent)
    for left in takes.rescue():
        click.echo(f"A take that was interrupted is kept as {left}", err=True)
    there = sum(job.done for job in jobs)
    if there:
        tell(f"{there} of {len(jobs)} takes are there; going on from there.")
    patch = chosen_patch(takes.folder, devices, screen, options)
    if there < len(jobs):
        screen.consent()
        if options["probe"] or (options["probe"] is None and not there):
            patch = probed(patch, takes, screen, given_level=options["level_db"] is not None)
        save_rig(takes.folder, patch)
    complete = walk(jobs, patch, screen)
    pages = [str(published(session, options).page)] if complete and options["publish"] else []
    if complete and options["second"] is not False:
        more = second_pass(session, jobs, patch, screen, options)
        pages += more or []
        complete = more is not None
    if not complete:
        missing = sum(not job.done for job in jobs)
        tell(f"Stopped: {missing} of {len(jobs)} takes are missing. The same command goes on from here.")
    rows = [{"take": job.name, "file": str(job.file), "kept": job.done} for job in jobs]
    return {"complete": complete, "takes": rows, "pages": pages}


def _self_check(devices: tuple[SoundDevice, ...], screen: Screen, options: dict[str, Any]) -> dict[str, Any]:
    """Two loop-backs of the rig, measured."""
    import tempfile

    from charprobe.bench.self_check import rig_report
    from charprobe.bench.stream import record_take
    from charprobe.cli.record_setup import chosen_patch
    from charprobe.stimulus.recipe import load_recipe
    from charprobe.stimulus.render import lay_out, render_sides
    from charprobe.values.errors import LiveError

    patch = chosen_patch(None, devices, screen, options)
    click.echo("Patch output straight into input, without the device.", err=True)
    screen.consent()
    stimulus = lay_out(load_recipe("quick"), rate_hz=patch.rate_hz, take=1)
    sound = render_sides(stimulus)
    with tempfile.TemporaryDirectory() as folder:
        takes = [Path(folder) / name for name in ("loop 1.wav", "loop 2.wav")]
        for take in takes:
            end = record_take(patch, sound, take, meter=screen.meter(None))
            screen.clear()
            if end.ending != "whole":
                raise end.error(take) or LiveError(end.message)
        reports = {
            channel: rig_report(
                takes[0], takes[1], stimulus, channel=index, two_devices=patch.play != patch.record
            )
            for index, channel in enumerate(patch.inputs, start=1)
        }
    for channel, report in reports.items():
        click.echo(f"input {channel}", err=options["as_json"])
        for line in report:
            click.echo(f"  {line}", err=options["as_json"])
    return {"complete": True, "inputs": {str(channel): list(report) for channel, report in reports.items()}}
