"""`charprobe fit`."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from charprobe.cli.measure import STIMULUS_HELP
from charprobe.cli.paths import INPUT, PATH, STIMULUS
from charprobe.cli.speaking import is_quiet, tell_files

if TYPE_CHECKING:
    from charprobe.replica.fitting.fit import Told


@click.command("fit")
@click.argument("capture", type=INPUT)
@click.option("--stimulus", "cues", type=STIMULUS, help=STIMULUS_HELP)
@click.option("--bypass", type=INPUT, required=True, help="Capture of the same stimulus with the stage off.")
@click.option("--profile", type=INPUT, help="Profile of CAPTURE; left out, it is measured first.")
@click.option("--setting", help="Name of the setting; left out, the profile's, or the capture's file name.")
@click.option("--channel", type=click.IntRange(1), default=1, show_default=True, help="Channel to fit.")
@click.option(
    "--prove",
    nargs=2,
    type=INPUT,
    metavar="DRY PROCESSED",
    help="A take of your own, and the same through this setting: a further proof.",
)
@click.option("--jobs", type=click.IntRange(1, 64), default=2, show_default=True, help="Threads at a time.")
@click.option("--out", required=True, type=PATH, help="Replica to write: NAME.replica.json.")
@click.option("--force", is_flag=True, help="Overwrite a replica that exists.")
@click.option("--json", "as_json", is_flag=True, help="Print the replica instead of the sentences.")
def fit_command(
    capture: Path,
    cues: Path | None,
    bypass: Path,
    profile: Path | None,
    setting: str | None,
    channel: int,
    prove: tuple[Path, Path] | None,
    jobs: int,
    out: Path,
    force: bool,
    as_json: bool,
) -> None:
    """Fit a model that runs to CAPTURE, and prove it on programme that the fit never hears.

    Takes up to two minutes. What the model is, how well it is proved and where it differs from the measured
    profile is said; `charprobe preview` plays it.
    """
    from charprobe.files.output import check_writable
    from charprobe.files.sound.sound_file import open_capture
    from charprobe.profile.profile import load_profile
    from charprobe.replica.fitting.fit import fit_replica
    from charprobe.replica.fitting.own_pair import with_own_proof
    from charprobe.replica.fitting.sentences import told_of
    from charprobe.stimulus.cue_sheet import load_stimulus

    check_writable(out, force=force)
    source, known = open_capture(capture), None if profile is None else load_profile(profile)
    replica = fit_replica(
        source,
        None if cues is None else load_stimulus(cues),
        bypass=open_capture(bypass),
        channel=channel,
        setting=setting or (known.setting if known is not None else capture.stem),
        profile=known,
        jobs=jobs,
        told=_progress(),
    ).replica
    if prove is not None:
        replica = with_own_proof(replica, open_capture(prove[0]), open_capture(prove[1]))
    replica.save(out, force=force)
    click.echo(replica.to_json() if as_json else told_of(replica), nl=not as_json)
    tell_files("Replica", [out])


def _progress() -> Told:
    """Say what is being done and how long it will take, on the terminal alone."""
    began = time.monotonic()

    def told(share: float, doing: str) -> None:
        if sys.stderr.isatty() and not is_quiet():
            gone = time.monotonic() - began
            left = f", about {gone * (1 - share) / share:.0f} s left" if 0.05 < share < 1 else ""
            click.echo(f"\r\033[K{doing}, {100 * share:.0f} %{left}", err=True, nl=share >= 1)

    return told
