"""`charprobe record`."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from charprobe.bench.devices import Patch, SoundDevice
    from charprobe.bench.jobs import Job
    from charprobe.bench.takes import TakeFolder
    from charprobe.cli.record_screen import Screen
    from charprobe.session.file import Session

FILE = click.Path(path_type=Path)
CONSENT = """\
Before any sound:
  Ears      Headphones off your head, monitors muted: test tones are loud and follow silence.
  Tweeters  Long tones and sweeps can burn drivers: disconnect loudspeakers, do not just turn down.
  Phantom   48 V off, and wait until it has discharged, before patching an output into an input.
  Howling   Direct and software monitoring of the loop off.
  DC        No DC-coupled output of this rig into loudspeakers or unknown inputs.
  Mains     Never lift a protective earth; do not open powered gear. Local rules and manuals come first."""


@click.command("record")
@click.argument("session", type=FILE, required=False)
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
    from charprobe.cli.record_screen import Screen
    from charprobe.values.errors import DeviceGoneError

    screen = Screen(yes=options["yes"])
    errors_go_to = os.dup(2)  # while it asks for devices, the sound library points 2 elsewhere
    try:
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
        import json

        click.echo(json.dumps(done, indent=2, ensure_ascii=False))
    ctx.exit(0 if done["complete"] else 1)


def _record(
    path: Path, devices: tuple[SoundDevice, ...], screen: Screen, options: dict[str, Any]
) -> dict[str, Any]:
    """The whole sitting."""
    from charprobe.bench.guide import walk
    from charprobe.bench.jobs import jobs_of
    from charprobe.bench.rig_file import save_rig
    from charprobe.bench.takes import TakeFolder
    from charprobe.session.file import load_session

    if not path.exists():
        _new_session(path, screen)
    session = load_session(path)
    jobs = jobs_of(session, shuffle=options["shuffle"])
    folder = TakeFolder(path.resolve().parent)
    _say_done(jobs, folder)
    consented = False
    patch = _patch(folder.folder, devices, screen, options)
    if any(not job.done for job in jobs):
        consented = screen.consent(CONSENT)
        if not consented:
            return {"complete": False, "takes": [], "pages": []}
        if options["probe"] or (options["probe"] is None and not any(job.done for job in jobs)):
            patch = _probed(patch, folder.folder, screen)
        save_rig(folder.folder, patch)
    complete = walk(jobs, patch, screen)
    pages = [_published(session, options)] if complete and options["publish"] else []
    if complete and options["second"] is not False:
        more = _second_pass(session, jobs, patch, screen, options, consented=consented)
        pages += more or []
        complete = more is not None
    takes = [{"take": job.name, "file": str(job.file), "kept": job.done} for job in jobs]
    return {"complete": complete, "takes": takes, "pages": pages}


def _say_done(jobs: tuple[Job, ...], folder: TakeFolder) -> None:
    for path in folder.rescue():
        click.echo(f"A take that was interrupted is kept as {path}", err=True)
    there = sum(job.done for job in jobs)
    if there:
        click.echo(f"{there} of {len(jobs)} takes are there; going on from there.", err=True)


def _new_session(path: Path, screen: Screen) -> None:
    """Ask what makes a session file, and write it."""
    from charprobe.bench.questions import Answers, session_text
    from charprobe.files.output import prepare_folder, write_text
    from charprobe.session.file import UNKNOWN

    click.echo(f"{path} does not exist: a few questions make it. Enter leaves what is in brackets.", err=True)
    device = screen.ask("What is the device called?", "device")
    maker, serial, firmware, gain = (
        screen.ask(f"{what}?", UNKNOWN)
        for what in ("Maker", "Serial number", "Firmware", "Position of the input gain")
    )
    names = [name.strip() for name in screen.ask("Names of its settings, with commas?", "on").split(",")]
    recipe = screen.ask("Recipe to play?", "quick")
    around = screen.agree("Can you patch around the device (output straight into input)?")
    answers = Answers(device, [name for name in names if name], recipe, maker, serial, firmware, gain, around)
    prepare_folder(path.resolve().parent)
    prepare_folder(path.resolve().parent / "captures")
    write_text(path, session_text(answers), force=False)
    click.echo(f"Written to {path}: comments in it say what else it can hold.", err=True)


def _patch(
    folder: Path | None, devices: tuple[SoundDevice, ...], screen: Screen, options: dict[str, Any]
) -> Patch:
    """The rig: from the options, from an earlier sitting, or asked."""
    from dataclasses import replace

    from charprobe.bench.devices import Patch, check_patch, find_device
    from charprobe.bench.rig_file import load_rig

    known = load_rig(folder, devices) if folder is not None and options["play"] is None else None
    if known is None:
        if options["play"] is None:
            for device in devices:
                click.echo(device.text, err=True)
        play = find_device(options["play"] or screen.ask("Which device plays?", "0"), "play", devices)
        one = play.inputs > 0
        wanted = options["record_on"] or (str(play.number) if one else screen.ask("Which one records?", "0"))
        record = find_device(wanted, "record", devices)
        sides = tuple(range(1, min(play.outputs, record.inputs, 2) + 1))
        known = Patch(play, record, play.rate_hz, sides, sides)
    given: dict[str, Any] = {
        "rate_hz": options["rate_hz"],
        "outputs": _channels(options["outputs"], "--outputs"),
        "inputs": _channels(options["inputs"], "--inputs"),
        "level_db": options["level_db"],
        "exclusive": options["exclusive"] or None,
    }
    patch = replace(known, **{key: value for key, value in given.items() if value is not None})
    for note in check_patch(patch):
        click.echo(f"Note: {note}", err=True)
    outs, ins = (", ".join(map(str, channels)) for channels in (patch.outputs, patch.inputs))
    click.echo(
        f"Plays {patch.play.name} (out {outs}), records {patch.record.name} (in {ins}), {patch.rate_hz} Hz",
        err=True,
    )
    return patch


def _channels(text: str | None, option: str) -> tuple[int, ...] | None:
    if text is None:
        return None
    try:
        return tuple(int(part) for part in text.split(","))
    except ValueError:
        raise click.UsageError(
            f"{option} {text!r}: allowed: channel numbers with commas, such as 1,2"
        ) from None


def _probed(patch: Patch, folder: Path, screen: Screen) -> Patch:
    """Find the level: quiet first, louder only when agreed to."""
    from dataclasses import replace

    from charprobe.bench.probe import LEVELS_DBFS, advise, probe_sound, read_probe
    from charprobe.bench.stream import record_take
    from charprobe.bench.takes import TakeFolder
    from charprobe.files.sound.sound_file import open_capture
    from charprobe.values.errors import DeviceGoneError

    takes, steps = TakeFolder(folder), list[Any]()
    click.echo("Level probe: a soft sweep and a tone. Device in, stage off.", err=True)
    for number, level in enumerate(LEVELS_DBFS):
        caution = "" if number == 0 else f" LOUDER by {level - LEVELS_DBFS[number - 1]:g} dB: ears, speakers?"
        if not screen.agree(f"Play {level:g} dBFS.{caution}"):
            break
        coming = takes.coming(Path(f"probe {level:g} dBFS.wav"))
        sound = probe_sound(level, rate_hz=patch.rate_hz)
        end = record_take(replace(patch, level_db=0.0), sound, coming, meter=screen.meter(None))
        if end.ending == "device gone":
            raise DeviceGoneError(end.message)
        screen.clear()
        came = open_capture(coming)
        steps.append(read_probe(came.read_frames(0, came.frames), level, rate_hz=patch.rate_hz))
        takes.set_aside(coming, "probe")
        advice = advise(steps, LEVELS_DBFS[: len(steps)])
        for line in advice.lines:
            click.echo(f"  {line}", err=True)
        if advice.stop:
            click.echo(f"  {advice.stop}", err=True)
            patch = replace(patch, level_db=min(patch.level_db, advice.level_db))
            break
    click.echo(f"The stimulus is played at {patch.level_db:g} dB.", err=True)
    return patch


def _published(session: Session, options: dict[str, Any]) -> str:
    """Measure and publish a session beside its takes; return where its page is."""
    from charprobe.publishing.session_folder import run_session

    click.echo(f"Measuring {session.title} ...", err=True)
    made = run_session(session, session.path.resolve().parent / "published")
    for line in made.findings.sentences:
        click.echo(line, err=options["as_json"])
    click.echo(f"page: {made.page}", err=True)
    shows = sys.platform != "linux" or "DISPLAY" in os.environ or "WAYLAND_DISPLAY" in os.environ
    if shows and sys.stdout.isatty() and not options["yes"]:
        click.launch(str(made.page))
    return str(made.page)


def _second_pass(
    session: Session,
    jobs: tuple[Job, ...],
    patch: Patch,
    screen: Screen,
    options: dict[str, Any],
    *,
    consented: bool,
) -> list[str] | None:
    """Design, show and record what the first pass left open; the pages, or None if it was stopped."""
    from charprobe.bench.guide import walk
    from charprobe.bench.second_pass import proposals, second_jobs
    from charprobe.session.file import load_session

    chosen = []
    click.echo("Second pass: what the first one asks for", err=True)
    for proposal in proposals(session, jobs):
        design = proposal.design
        gains = f"{design.duration_s:.0f} s" if design.gains else "nothing to gain, left out"
        click.echo(f"  {proposal.setting}: {gains}", err=True)
        for reason in design.reasons:
            click.echo(f"    {reason}", err=True)
        for row in design.expected if design.gains else ():
            now = "no number" if row.now is None else f"± {row.now:.3g}"
            click.echo(f"    {row.name:<16} now {now}, expected ± {row.then:.3g} {row.unit}", err=True)
        if design.gains:
            chosen.append(proposal)
    if not chosen:
        return []
    minutes = 2 * sum(proposal.design.duration_s for proposal in chosen) / 60
    if not (options["second"] or screen.agree(f"Record it now, about {minutes:.0f} min of sound?")):
        return []
    if not consented and not screen.consent(CONSENT):
        return None
    if not walk(second_jobs(session, chosen), patch, screen):
        return None
    return [_published(load_session(one.session), options) for one in chosen] if options["publish"] else []


def _self_check(devices: tuple[SoundDevice, ...], screen: Screen, options: dict[str, Any]) -> dict[str, Any]:
    """Two loop-backs of the rig, measured."""
    import tempfile

    from charprobe.bench.self_check import rig_report
    from charprobe.bench.stream import record_take
    from charprobe.stimulus.recipe import load_recipe
    from charprobe.stimulus.render import lay_out, render_sides
    from charprobe.values.errors import DeviceGoneError, LiveError

    patch = _patch(None, devices, screen, options)
    click.echo("Patch output straight into input, without the device.", err=True)
    if not screen.consent(CONSENT):
        return {"complete": False}
    stimulus = lay_out(load_recipe("quick"), rate_hz=patch.rate_hz, take=1)
    sound = render_sides(stimulus)
    with tempfile.TemporaryDirectory() as folder:
        takes = [Path(folder) / name for name in ("loop 1.wav", "loop 2.wav")]
        for take in takes:
            end = record_take(patch, sound, take, meter=screen.meter(None))
            if end.ending != "whole":
                raise (DeviceGoneError if end.ending == "device gone" else LiveError)(end.message)
        reports = {
            channel: rig_report(takes[0], takes[1], stimulus, channel=index + 1)
            for index, channel in enumerate(patch.inputs)
        }
    for channel, report in reports.items():
        click.echo(f"input {channel}", err=options["as_json"])
        for line in report.lines:
            click.echo(f"  {line}", err=options["as_json"])
    return {"complete": True, "inputs": {str(channel): list(r.lines) for channel, r in reports.items()}}
