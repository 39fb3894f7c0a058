"""Before the first take: the session file, the rig, the level."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from charprobe.cli.speaking import tell

if TYPE_CHECKING:
    from charprobe.bench.devices import Patch, Side, SoundDevice
    from charprobe.bench.probe import ChannelProbe
    from charprobe.bench.probe_sound import ProbePlan
    from charprobe.bench.takes import TakeFolder
    from charprobe.cli.record_screen import Screen


def session_folder(path: Path) -> Path:
    """Make sure that the folder of a session file is there and takes files, before anything is asked."""
    from charprobe.files.output import prepare_folder

    folder = path.resolve().parent
    prepare_folder(folder)
    return folder


def new_session(path: Path, screen: Screen) -> None:
    """Ask what makes a session file, and write it."""
    from charprobe.bench.questions import asked
    from charprobe.files.output import prepare_folder, write_text

    click.echo(f"{path} does not exist: a few questions make it. Enter leaves what is in brackets.", err=True)
    text = asked(screen, path)
    prepare_folder(path.resolve().parent / "captures")
    write_text(path, text, force=False)
    tell(f"Written to {path}: comments in it say what else it can hold.")


def chosen_patch(
    folder: Path | None, devices: tuple[SoundDevice, ...], screen: Screen, options: dict[str, Any]
) -> Patch:
    """The rig: from the options, from an earlier sitting, or asked."""
    from dataclasses import replace

    from charprobe.bench.devices import check_patch
    from charprobe.bench.rig_file import load_rig

    known = load_rig(folder, devices) if folder is not None and options["play"] is None else None
    known = known or _asked_patch(devices, screen, options)
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
    tell(f"Plays {patch.play.name} (out {outs}), records {patch.record.name} (in {ins}), {patch.rate_hz} Hz")
    return patch


def _asked_patch(devices: tuple[SoundDevice, ...], screen: Screen, options: dict[str, Any]) -> Patch:
    """The devices that the options name, or the person does; the first two channels of each."""
    from charprobe.bench.devices import Patch, find_device

    def find(question: str, side: Side) -> SoundDevice:
        able = [one for one in devices if (one.outputs if side == "play" else one.inputs)]
        usual = str(able[0].number) if able else ""
        return screen.ask(question, usual, lambda text: find_device(text, side, devices))

    if options["play"] is None:
        for device in devices:
            click.echo(device.text, err=True)
        play = find("Which device plays?", "play")
    else:
        play = find_device(options["play"], "play", devices)
    if options["record_on"] is not None:
        record = find_device(options["record_on"], "record", devices)
    else:
        record = play if play.inputs else find("Which one records?", "record")
    sides = tuple(range(1, min(play.outputs, record.inputs, 2) + 1))
    return Patch(play, record, play.rate_hz, sides, sides)


def _channels(text: str | None, option: str) -> tuple[int, ...] | None:
    if text is None:
        return None
    try:
        return tuple(int(part) for part in text.split(","))
    except ValueError:
        raise click.UsageError(
            f"{option} {text!r}: allowed: channel numbers with commas, such as 1,2"
        ) from None


def probed(patch: Patch, takes: TakeFolder, screen: Screen, *, given_level: bool) -> Patch:
    """Find the level: quiet first, louder only when agreed to; what was declined is not played later."""
    from dataclasses import replace

    from charprobe.bench.advice import advise, up_to
    from charprobe.bench.probe_sound import LEVELS_DBFS, ProbePlan
    from charprobe.cli.record_screen import say

    plan = ProbePlan(patch.rate_hz, len(patch.outputs))
    steps: list[tuple[ChannelProbe, ...]] = []
    tell("Level probe: soft sweeps, a tone and a short burst. Device in, stage off.")
    for number, level in enumerate(LEVELS_DBFS):
        caution = "" if number == 0 else f" LOUDER by {level - LEVELS_DBFS[number - 1]:g} dB: ears, speakers?"
        if not screen.agree(f"Play {level:g} dBFS.{caution}"):
            if number and not given_level:
                quieter = LEVELS_DBFS[number - 1]
                patch = replace(patch, level_db=min(patch.level_db, up_to(quieter)))
                say(f"Nothing louder than {quieter:g} dBFS will be played; --level says otherwise.")
            break
        steps.append(_step(patch, level, plan, takes, screen))
        advice = advise(steps, patch)
        for line in advice.lines:
            say(line)
        if advice.stop:
            say(advice.stop)
            patch = replace(patch, level_db=min(patch.level_db, advice.level_db))
            break
    turned = "as it is" if not patch.level_db else f"turned down by {-patch.level_db:g} dB"
    tell(f"The stimulus is played {turned}.")
    return patch


def _step(
    patch: Patch, level_dbfs: float, plan: ProbePlan, takes: TakeFolder, screen: Screen
) -> tuple[ChannelProbe, ...]:
    """Play and read one step; its take is set aside, as every take is that nobody keeps."""
    from dataclasses import replace

    from charprobe.bench.probe import read_probe
    from charprobe.bench.probe_sound import probe_sound
    from charprobe.bench.stream import record_take
    from charprobe.files.sound.sound_file import open_capture
    from charprobe.values.errors import LiveError

    coming = takes.coming(Path(f"probe {level_dbfs:g} dBFS.wav"))
    played = replace(patch, level_db=0.0)
    end = record_take(played, probe_sound(level_dbfs, plan), coming, meter=screen.meter(None))
    screen.clear()
    place = takes.set_aside(coming, "probe")
    if end.ending != "whole":
        raise end.error(place) or LiveError(f"{end.message}: {place}")
    came = open_capture(place)
    return read_probe(came.read_frames(0, came.frames), level_dbfs, plan)
