"""`charprobe check` and `charprobe measure`."""

from __future__ import annotations

from pathlib import Path

import click

from charprobe.cli.paths import INPUT, PATH, STIMULUS
from charprobe.cli.speaking import columns, print_json, tell

STIMULUS_HELP = (
    "Cue sheet, or the stimulus WAV beside it; left out, the sound itself says which shipped recipe it is."
)


@click.command("check")
@click.argument("capture", type=INPUT)
@click.option("--stimulus", "cues", type=STIMULUS, help=STIMULUS_HELP)
@click.option(
    "--bypass", type=INPUT, help="Capture with the stage off: judged too, and both against each other."
)
@click.option("--channel", type=click.IntRange(1), default=1, show_default=True, help="Channel to judge.")
@click.option(
    "--repair",
    type=PATH,
    metavar="COPY.wav",
    help="First copy the sound of a WAV whose header is wrong behind a right one, and judge the copy.",
)
@click.option("--force", is_flag=True, help="Overwrite a copy that exists.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--strict", is_flag=True, help="Exit 1 on warnings too.")
@click.pass_context
def check_command(
    ctx: click.Context,
    capture: Path,
    cues: Path | None,
    bypass: Path | None,
    channel: int,
    repair: Path | None,
    force: bool,
    as_json: bool,
    strict: bool,
) -> None:
    """Say in seconds whether CAPTURE can be kept or must be taken again."""
    if repair is not None:
        from charprobe.files.sound.repair import write_repaired_copy

        layout = write_repaired_copy(capture, repair, force=force)
        seconds = layout.frames / layout.rate_hz
        click.echo(f"{repair}: copy with {seconds:.1f} s of sound; {capture} was not changed", err=True)
        capture = repair
    from charprobe.files.sound.sound_file import open_capture
    from charprobe.measuring.check import check
    from charprobe.measuring.verdict import WIDTH, missing_dict
    from charprobe.placing.why_not_found import MissingStimulusError
    from charprobe.stimulus.cue_sheet import load_stimulus

    try:
        verdict = check(
            open_capture(capture),
            None if cues is None else load_stimulus(cues),
            bypass=None if bypass is None else open_capture(bypass),
            channel=channel,
        )
    except MissingStimulusError as error:
        if not as_json:
            raise
        print_json(missing_dict(capture.name, channel, error))
        ctx.exit(1)
    if as_json:
        print_json(verdict.to_dict())
    else:
        click.echo(verdict.text(width=columns(WIDTH)))
    ctx.exit(1 if verdict.retake or (strict and verdict.warned) else 0)


@click.command("measure")
@click.argument("capture", type=INPUT)
@click.option("--stimulus", "cues", type=STIMULUS, help=STIMULUS_HELP)
@click.option("--bypass", type=INPUT, help="Capture of the same stimulus with the stage off, same path.")
@click.option(
    "--volts",
    type=INPUT,
    help="Voltmeter readings (TOML: [[reading]] with dbfs and volts, two levels or more): adds dBu.",
)
@click.option("--setting", help="Name of the setting; left out, the capture's file name.")
@click.option("--channel", type=click.IntRange(1), default=1, show_default=True, help="Channel to measure.")
@click.option("--out", required=True, type=PATH, help="Profile (JSON) to write.")
@click.option("--force", is_flag=True, help="Overwrite a profile that exists.")
@click.option("--all", "everything", is_flag=True, help="Print every quantity with all its digits.")
@click.option("--json", "as_json", is_flag=True, help="Print the profile instead of the summary.")
@click.option("--strict", is_flag=True, help="Exit 1 on warnings too.")
@click.pass_context
def measure_command(
    ctx: click.Context,
    capture: Path,
    cues: Path | None,
    bypass: Path | None,
    volts: Path | None,
    setting: str | None,
    channel: int,
    out: Path,
    force: bool,
    everything: bool,
    as_json: bool,
    strict: bool,
) -> None:
    """Measure one channel of CAPTURE and write its profile."""
    from charprobe.files.output import check_writable
    from charprobe.files.sound.sound_file import open_capture
    from charprobe.measuring.measure import measure
    from charprobe.profile.volts_file import load_volts
    from charprobe.publishing.summary import WIDTH, summarise, summarise_all
    from charprobe.stimulus.cue_sheet import load_stimulus

    check_writable(out, force=force)
    readings = () if volts is None else load_volts(volts)
    source = open_capture(capture)
    profile = measure(
        source,
        None if cues is None else load_stimulus(cues),
        bypass=None if bypass is None else open_capture(bypass),
        setting=setting,
        channel=channel,
        volts=readings,
    )
    profile.save(out, force=force)
    summary = summarise_all if everything else summarise
    click.echo(profile.to_json() if as_json else summary(profile, width=columns(WIDTH)), nl=not as_json)
    tell(f"Profile written to {out}")
    if source.channels > 1:
        tell(f"Channel {channel} of {source.channels}; another: --channel, all of them: charprobe session")
    warned = any(item.severity != "note" for item in profile.health)
    ctx.exit(1 if strict and warned else 0)
