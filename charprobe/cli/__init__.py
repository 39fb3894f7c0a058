"""The command line: parse, call one library function, print."""

from __future__ import annotations

import atexit
import gc
import os
from importlib import import_module

import click

from charprobe import __version__
from charprobe.bench.stopping import endings_heard
from charprobe.cli.group import CommandGroup
from charprobe.values.errors import CharprobeError

COMMANDS = {  # command -> module below charprobe.cli, and an example; the order is that of the job
    "demo": ("demo", "charprobe demo --out demo"),
    "recipes": ("stimulus", "charprobe recipes"),
    "stimulus": ("stimulus", "charprobe stimulus standard --out play.wav"),
    "stages": ("stages", "charprobe stages"),
    "simulate": ("stages", "charprobe simulate smooth-gain-soft play.wav --out on.wav"),
    "check": ("measure", "charprobe check on.wav --bypass off.wav"),
    "measure": ("measure", "charprobe measure on.wav --bypass off.wav --setting voice --out voice.json"),
    "show": ("show", "charprobe show voice.json --figures figures"),
    "compare": ("show", "charprobe compare voice.json doors.json --out compared"),
    "session": ("session", "charprobe session preamp.toml --out published"),
    "record": ("record", 'charprobe record review/session.toml --play "USB interface"'),
    "fit": ("fit", "charprobe fit on.wav --bypass off.wav --out voice.replica.json"),
    "ab": ("listening", "charprobe ab dry.wav through.wav --out pair"),
    "blind": ("listening", "charprobe blind make pair --out pack --key key.json"),
    "preview": ("replica", "charprobe preview voice.replica.json dry.wav --out heard.wav --equal-loudness"),
    "unprint": ("replica", "charprobe unprint voice.replica.json printed.wav --out dry-again.wav"),
    "predict": ("replica", "charprobe predict voice.replica.json doors.replica.json"),
    "selftest": ("demo", "charprobe selftest --recipe quick"),
}
LINEAR_ALGEBRA = "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "BLIS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"
LOOSE = 400_000  # things made between two searches for garbage: the usual 700 take a fifth of drawing's time

atexit.register(gc.freeze)  # a process that ends need not look through all it holds: half a second of a page


class JobGroup(CommandGroup):
    """Loads a command's module when it is called for, and turns library errors into exit code 1."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """List the commands in the order of the job."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command's module and return the command."""
        if cmd_name not in COMMANDS:
            return None
        module, example = COMMANDS[cmd_name]
        command = getattr(import_module(f"charprobe.cli.{module}"), f"{cmd_name}_command")
        assert isinstance(command, click.Command)
        command.epilog = f"Example: {example}"
        return command

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; what the library refuses becomes one message and exit code 1."""
        gc.set_threshold(LOOSE, 1, 1)
        for threads in LINEAR_ALGEBRA:  # read as NumPy is loaded: threads would wait at full speed
            os.environ.setdefault(threads, "1")
        try:
            with endings_heard():
                return super().invoke(ctx)
        except CharprobeError as error:
            raise click.ClickException(str(error)) from error
        except KeyboardInterrupt:
            click.echo("Stopped. What was finished is saved; the same command does the rest.", err=True)
            raise SystemExit(130) from None


@click.group(cls=JobGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="charprobe")
@click.option("-q", "--quiet", is_flag=True, help="Say nothing beside answers and warnings.")
def main(quiet: bool) -> None:
    """Measure what the colour and dynamics stages of a recording path really do.

    The usual way: render a stimulus, play it through the stage into any recorder, measure what came back.
    Start with `charprobe demo`: the whole job on a simulated device.
    """
